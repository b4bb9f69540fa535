/* A disk that takes long to keep what it was given: preloaded before a database, it waits for so
   many milliseconds as the file named by JUTEBOOK_SLOW_DISK says now, and then lets the disk work. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static void take_long(void) {
    const char *name = getenv("JUTEBOOK_SLOW_DISK");
    FILE *file = name ? fopen(name, "r") : NULL;
    long milliseconds = 0;
    if (file) {
        if (fscanf(file, "%ld", &milliseconds) != 1)
            milliseconds = 0;
        fclose(file);
    }
    struct timespec time = {milliseconds / 1000, milliseconds % 1000 * 1000000};
    nanosleep(&time, NULL);
}

static int keep(const char *name, int file) {
    int (*real)(int) = (int (*)(int))dlsym(RTLD_NEXT, name);
    take_long();
    return real(file);
}

int fsync(int file) { return keep("fsync", file); }

int fdatasync(int file) { return keep("fdatasync", file); }

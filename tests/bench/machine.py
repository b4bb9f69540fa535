"""What figures were measured on, and what a process took."""

import os
import platform
import sqlite3
from collections.abc import Callable
from pathlib import Path
from statistics import median
from tempfile import TemporaryFile
from time import perf_counter, process_time
from typing import NamedTuple, TypeVar

T = TypeVar("T")


class Took(NamedTuple):
    """What an act of this process took."""

    seconds: float
    at_work_s: float
    """Of the seconds, those in which this process worked: on a busy machine the fairer figure.

    What PostgreSQL works is in its own processes and not among them.
    """


def timed(act: Callable[[], T]) -> tuple[Took, T]:
    """Do something, and say what it took and what it came to."""
    began, worked = perf_counter(), process_time()
    found = act()
    return Took(perf_counter() - began, process_time() - worked), found


def machine() -> str:
    """Say what the figures were measured on: durable commits hang on its disk as well."""
    processor = _line(Path("/proc/cpuinfo"), "model name").partition(": ")[2] or platform.machine()
    kib = int(_line(Path("/proc/meminfo"), "MemTotal").split()[1])
    load = ", ".join(f"{each:.1f}" for each in os.getloadavg())
    return (
        f"{os.cpu_count()} processors ({processor.strip()}), {kib / 2**20:.0f} GiB, "
        f"{platform.system()}, Python {platform.python_version()}, "
        f"SQLite {sqlite3.sqlite_version}; {_flush_ms():.1f} ms until the disk has 4 KiB; "
        f"load before the run: {load}"
    )


def _line(file: Path, begins: str) -> str:
    lines = file.read_text("utf-8").splitlines() if file.exists() else []
    return next((line for line in lines if line.startswith(begins)), f"{begins} 0 ")


def _flush_ms() -> float:
    """Measure what a durable commit waits for: the middle of so many."""
    with TemporaryFile(prefix="jutebook-bench-") as file:

        def flush() -> None:
            file.write(bytes(4096))
            file.flush()
            os.fsync(file.fileno())

        return median(timed(flush)[0].seconds for _ in range(50)) * 1000


def peak_mib(process: int) -> float:
    """Read the most memory that a process had until now."""
    said = Path(f"/proc/{process}/status").read_text("utf-8")
    return int(said.partition("VmHWM:")[2].split()[0]) / 1024


def worked_s(process: int) -> float:
    """Read how long a process has worked, by itself and in the kernel."""
    said = Path(f"/proc/{process}/stat").read_text("utf-8").rpartition(")")[2].split()
    return (int(said[11]) + int(said[12])) / os.sysconf("SC_CLK_TCK")

"""What goes wrong: servers killed, databases gone, disks full, and what is still true then."""

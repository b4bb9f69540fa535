"""What went over the counter to people whose names nobody has, by day and pack."""

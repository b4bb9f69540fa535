"""What somebody with bad intentions tries, and what they get."""

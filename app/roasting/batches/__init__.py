"""Planned batches: what is to be roasted on a day, and the green that is kept for it."""

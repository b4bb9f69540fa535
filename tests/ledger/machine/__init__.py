"""A roastery that books at random, by stages of the work, and what it is held against."""

"""Cover: how many days of green there are, when to order, and how much."""

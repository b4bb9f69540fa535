"""Which bags to send first: suggested by their best-before, and kept for whoever sends them."""

"""Which sacks to take coffee from: suggested, and put on record."""

"""Orders of customers: what they asked for and for when, and how much of it went out."""

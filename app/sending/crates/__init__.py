"""Crates that come back: how many are in the house and how many at each customer."""

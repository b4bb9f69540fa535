"""Copies of the whole book: of one moment, read back before anybody relies on them, and noted."""

"""Samples of green coffee, its grading and its cupping."""

"""Counting what is there against what the book says, without showing the book."""

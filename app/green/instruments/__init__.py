"""What coffee and places are measured with, and when that was held against a reference."""

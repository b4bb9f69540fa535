"""What the book promises, as sentences that can fail."""

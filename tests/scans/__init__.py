"""What a scanner read."""

"""What was ordered and what was sent."""

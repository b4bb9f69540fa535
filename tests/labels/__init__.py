"""Labels: what they say, where it stands, and that a scanner reads it back."""

"""What a scanner read, and what of the house it is."""

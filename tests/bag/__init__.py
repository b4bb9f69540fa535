"""What a bag says of itself to whoever holds it."""

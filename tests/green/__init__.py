"""Green coffee: what is known of lots beside their mass."""

"""Planning cards: how something is bought."""

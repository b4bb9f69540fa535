"""Planning cards: how a component or an origin is bought."""

"""What coffee cost and is worth, how old it is, and what is used for most money."""

"""Recipes: which coffees a blend is made of, and how much of each."""

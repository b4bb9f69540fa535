"""Contracts, and what is found when coffee arrives."""

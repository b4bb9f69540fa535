"""Measurements of coffee and of the places it stands in."""

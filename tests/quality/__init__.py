"""Samples, gradings and cuppings of green lots."""

"""Jutebook: the book of a specialty roastery's coffee."""

__version__ = "0.1.0"

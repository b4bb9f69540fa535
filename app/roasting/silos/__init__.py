"""Silos, hoppers and trays: what is in a place, what is tipped in and poured out, cleaning it."""

"""Reservations: green coffee of lots that is promised to something and not drawn yet."""

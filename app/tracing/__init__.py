"""Tracing: where coffee went, where it came from, and that every kilogram is accounted for."""

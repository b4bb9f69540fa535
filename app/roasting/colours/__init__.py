"""Colours of roasts: what was read, on which scale, ground or whole."""

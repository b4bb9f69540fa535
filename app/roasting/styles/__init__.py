"""Styles: what a roast of one name is meant to be."""

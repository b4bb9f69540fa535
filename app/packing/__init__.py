"""Packing: blends of roasted coffee, products, and packs of retail bags."""

"""Packing, and whether bags hold what their labels say."""

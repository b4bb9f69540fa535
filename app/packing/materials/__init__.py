"""Packing materials: what bags are made of, closed with and sent in, lot by lot."""

"""Recall cases, mass balances and drills."""

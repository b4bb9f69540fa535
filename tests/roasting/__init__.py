"""Roasting: styles and the gate beside the chain of `tests/chain`."""

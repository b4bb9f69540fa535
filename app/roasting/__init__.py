"""Roasting: machines, and roasts with the gate they have to pass."""

"""Corrections: voids with all that was made, units that replace others, acts that never were."""

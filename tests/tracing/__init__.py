"""Traces: where coffee went, where it came from, and that every gram is accounted for."""

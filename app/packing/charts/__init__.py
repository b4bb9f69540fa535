"""Checks of weight as charts: the bags of one pack, and the checks of one product."""

"""Check-weighing: whether the bags of a pack hold what their label says."""

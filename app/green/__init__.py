"""Green coffee: suppliers, deliveries, lots, sacks and readings."""

"""What was found when coffee arrived: counts, weights, inspections, exceptions with photos."""

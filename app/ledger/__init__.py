"""The book: units, flows, adjustments and the journal. Only this package writes those tables."""

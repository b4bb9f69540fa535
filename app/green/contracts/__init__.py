"""Purchase contracts: what was agreed with a supplier, and what came of it so far."""

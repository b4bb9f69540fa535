"""Mass balances: where every kilogram of a unit, or of a period, went, with the entries behind."""

"""The evidence of a case: a report to sign, and tables that an authority can sort."""

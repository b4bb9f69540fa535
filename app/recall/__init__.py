"""Recall: cases and drills, their frozen scope, the stop, working off, and mass balances."""

"""Benchmarks: how long questions take in a large book. Nothing here is a test of time."""

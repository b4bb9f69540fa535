"""Benchmarks: how long a recall takes in a large book. Nothing here is a test of time."""

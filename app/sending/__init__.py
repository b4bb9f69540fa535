"""Sending: customers, dispatches and returns."""

"""Tests of the demo scenario."""

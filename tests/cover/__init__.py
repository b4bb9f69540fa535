"""Tests of cover."""

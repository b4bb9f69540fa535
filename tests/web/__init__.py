"""Tests of the pages for people."""

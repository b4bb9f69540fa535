"""Tests of what leaves: picks, cases, sales over the counter, crates, delivery notes."""

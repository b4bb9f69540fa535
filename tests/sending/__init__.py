"""What was ordered, and what leaves: picks, cases, sales over the counter, crates."""

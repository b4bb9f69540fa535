"""Pictures and papers for buyers."""

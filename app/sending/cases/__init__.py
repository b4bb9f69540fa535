"""Cases, crate loads and pallets: what bags travel in, and what is in each at what time."""

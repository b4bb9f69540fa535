"""Production: what has to be packed, blended and roasted, and from which green."""

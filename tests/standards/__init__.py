"""Published standards, held against their published figures."""

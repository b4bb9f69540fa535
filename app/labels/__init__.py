"""Labels: what is glued to sacks, racks, roasts and packs, and who printed which."""

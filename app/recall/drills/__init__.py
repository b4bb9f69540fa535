"""Drills: a recall rehearsed against the clock, with what it found and who signed it off."""

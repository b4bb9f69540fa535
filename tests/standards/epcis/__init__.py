"""EPCIS 2.0 held against the files of GS1, against its own text, and against a made roastery."""

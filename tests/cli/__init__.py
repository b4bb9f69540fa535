"""The command line as a person at the keyboard meets it."""

"""Whether everything behind a unit can be shown to have grown where it should."""

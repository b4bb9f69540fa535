"""Documents of EPCIS 2.0, told of a small roastery and read into proposals."""

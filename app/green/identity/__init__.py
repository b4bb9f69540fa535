"""What a lot is by its papers: mark and coffee year, crop, species, variety, place and altitude."""

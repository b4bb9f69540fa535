"""The book: what it must hold whatever happens, at once, halfway and undone."""

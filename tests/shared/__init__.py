"""Mass, codes, pages and versions: what knows nothing of coffee."""

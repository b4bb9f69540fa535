"""What knows nothing of coffee: database, problems, paging, mass, codes, sign-in."""

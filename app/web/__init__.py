"""The pages for people: the same acts as the API, filled in as forms."""

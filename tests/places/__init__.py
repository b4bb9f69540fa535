"""Where coffee stands."""

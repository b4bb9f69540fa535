"""Where coffee stands: locations and moves between them."""

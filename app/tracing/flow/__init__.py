"""Traces as a picture: units gathered into boxes, coffee that flows from box to box."""

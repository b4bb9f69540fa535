"""The chain, from the sack to the customer and back."""

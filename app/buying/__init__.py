"""What buyers look at: pictures of cover and of age, and the report that is printed of them."""

"""GS1 keys, element strings and links."""

"""GS1 keys, element strings and links: what a barcode of trade says, taken apart and made.

What each application identifier may hold, its dates and its decimals are read by a library; what
it lets pass is held here: separators, check digits, parts of values, and what goes together.
"""

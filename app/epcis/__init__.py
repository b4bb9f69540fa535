"""EPCIS 2.0: telling others what happened, and reading what suppliers and packers tell.

The book is stricter than a document of EPCIS, so events are made out of the book when somebody
asks, and what comes in becomes a proposal that somebody books.
"""

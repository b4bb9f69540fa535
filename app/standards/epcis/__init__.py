"""EPCIS 2.0 and its vocabulary CBV 2.0: identifiers, events, what a document must look like.

Three things are told apart here. `shape` is what the official JSON schema asks of a document;
`rules` and `stock` are what it leaves open and a book cannot: masses, check digits, units, what
there is to take from. Events are made by `events` out of identifiers by `naming`. Where clauses
are named they are those of GS1's EPCIS Standard 2.0 and Core Business Vocabulary Standard 2.0.
"""

"""The journal proved: its chain of hashes verified, and an export that anybody can verify."""

"""Certificates of green lots, and the claims that everything made of them may carry."""

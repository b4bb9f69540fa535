"""Arithmetic of published standards: values in, values out, no database."""

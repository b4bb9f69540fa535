"""Forecasts: what will be used, and for how long what is there will last."""

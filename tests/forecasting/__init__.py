"""Tests of forecasts."""

"""Tests of cost, stock value and age."""

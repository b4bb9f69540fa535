"""Tests of the papers that go with coffee."""

"""The number of the request being served, in everything that is said while it is."""

from contextvars import ContextVar
from typing import Final

REQUEST_ID: Final[ContextVar[str]] = ContextVar("request_id", default="-")
"""Stands in the header `X-Request-Id` of the answer and in each line of the log."""

"""The router of a page: the API tells nothing of it, and what books waits for its turn."""

from fastapi import APIRouter

from app.shared.turns import TurnRoute


def page_router() -> APIRouter:
    """Make one; its paths are whole."""
    return APIRouter(include_in_schema=False, route_class=TurnRoute)

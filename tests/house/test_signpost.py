"""The signpost leads where the router itself would go, only sooner."""

import re
from typing import Any

from fastapi import FastAPI
from starlette.routing import Match, Mount, Route

from app.signpost import Signpost, beginning


def test_no_path_begins_with_something_that_varies(service: FastAPI) -> None:
    routes = [each for each in service.router.routes if isinstance(each, Route | Mount)]

    assert len(routes) > 300
    assert [each.path for each in routes if "{" in beginning(each.path)] == []


def test_every_path_leads_to_the_route_that_the_router_finds_first(service: FastAPI) -> None:
    post = service.router.middleware_stack
    assert isinstance(post, Signpost)
    for route in service.router.routes:
        if not isinstance(route, Route):
            continue
        path = re.sub(r"\{[^}]*\}", "1", route.path)
        for method in route.methods or ():
            scope = {"type": "http", "method": method, "path": path, "headers": []}
            led = _first(post.candidates(scope), scope)
            assert led is _first(service.router.routes, scope), (method, path)
            assert led is not None


def test_what_begins_like_nothing_here_is_left_to_the_router(service: FastAPI) -> None:
    post = service.router.middleware_stack
    assert isinstance(post, Signpost)
    for scope in (
        {"type": "http", "path": "/api/v1/nowhere"},
        {"type": "http", "path": "/api/v1/lots", "root_path": "/behind/a/proxy"},
        {"type": "lifespan"},
    ):
        assert post.candidates(scope) == ()


def _first(routes: Any, scope: dict[str, Any]) -> object:
    return next((each for each in routes if each.matches(dict(scope))[0] is Match.FULL), None)

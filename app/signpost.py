"""The signpost leads a request to the routes whose paths begin as its own does.

There are hundreds of routes, and a router tries them one after another: that took longer than to
answer what was asked.
"""

from collections import defaultdict
from collections.abc import Sequence
from typing import Final

from starlette.routing import BaseRoute, Match, Mount, Route, Router
from starlette.types import Receive, Scope, Send

from app.shared.routing import API

_UNDER_API: Final = f"{API}/"


class Signpost:
    """Stands before a router, which still answers what fits no route."""

    def __init__(self, router: Router) -> None:
        """Read the routes, which are all there already."""
        self._router = router
        self._by_beginning: dict[str, list[BaseRoute]] = defaultdict(list)
        for route in router.routes:
            if isinstance(route, Route | Mount):
                self._by_beginning[beginning(route.path)].append(route)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request (ASGI)."""
        for route in self.candidates(scope):
            match, found = route.matches(scope)
            if match is Match.FULL:
                scope.update(found)
                scope.setdefault("router", self._router)
                await route.handle(scope, receive, send)
                return
        await self._router.app(scope, receive, send)

    def candidates(self, scope: Scope) -> Sequence[BaseRoute]:
        """Name the routes that may fit, in the order in which the router has them."""
        if scope["type"] != "http" or scope.get("root_path"):
            return ()
        return self._by_beginning.get(beginning(scope["path"]), ())


def beginning(path: str) -> str:
    """Take the first word of a path; of the API's the first behind its prefix.

    No route has a parameter there, so routes that fit the same path begin alike.
    """
    before = _UNDER_API if path.startswith(_UNDER_API) else "/"
    return before + path[len(before) :].partition("/")[0]

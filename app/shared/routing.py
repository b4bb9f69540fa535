"""The routes of the API: bodies are read exactly, and one thread works on a request."""

import json
from collections.abc import Callable
from inspect import iscoroutinefunction
from typing import Any, Final

from fastapi import APIRouter, Request, Response
from fastapi.routing import APIRoute
from starlette.concurrency import run_in_threadpool

from app.shared.answers import MOST_NAMES, read_json
from app.shared.bodies import read_body, still_known
from app.shared.sign_in import identify
from app.shared.threads import in_a_thread, run_through
from app.shared.turns import in_turn, turn_if_free, writes

API: Final = "/api/v1"
"""Where the paths of every package begin."""

_FROM_ANYBODY: Final = 64 * 1024
"""The largest body that is read before it is known who sends it, in bytes."""
_DIGITS: Final = 18
"""A longer length is no small one, whatever zeros it begins with."""


class ExactRequest(Request):
    """A request whose JSON body is read no further than one may be, and without binary floats."""

    async def body(self) -> bytes:
        """Read the body once; FastAPI asks for it before it asks for its JSON.

        Raises:
            Refused: `unauthorized`, before a large one is read, and once it came.
            HTTPException: as of `read_body`.
        """
        if not hasattr(self, "_body"):
            large = not self._is_small()
            if large:
                await find_out(self)
            self._body = await read_body(self, self.app.state.settings.body_largest_bytes)
            if large:
                await still_known(self)
        return self._body

    def _is_small(self) -> bool:
        said = self.headers.get("content-length", "")
        return said.isdecimal() and len(said) <= _DIGITS and int(said) <= _FROM_ANYBODY

    async def json(self) -> Any:  # noqa: ANN401 - JSON is any of its types
        """Read the body as JSON; JSONDecodeError for what is none."""
        try:
            return read_json(await self.body(), MOST_NAMES)
        except json.JSONDecodeError:
            raise
        except ValueError as error:
            # FastAPI answers this very exception with its 422 for a body that is no JSON.
            raise json.JSONDecodeError(str(error), "", 0) from error


find_out = in_a_thread(identify)


class ExactRoute(APIRoute):
    """A route that reads its body through `ExactRequest`, and takes turns where it writes.

    Once the body is there one thread does the rest. What writes while others do, and a route that
    reads its body itself, as its `openapi_extra` says, begin on the loop of events and take threads
    as they need them.
    """

    def __init__(
        self,
        path: str,
        endpoint: Callable[..., Any],
        *,
        methods: set[str] | list[str] | None = None,
        openapi_extra: dict[str, Any] | None = None,
        **kwargs: Any,  # noqa: ANN401 - what a route of the library takes
    ) -> None:
        """Make it as the library does."""
        if iscoroutinefunction(endpoint):
            raise TypeError(f"{path}: what may wait for the database is no coroutine")
        self.waits = writes(methods, endpoint)
        self.reads_itself = "requestBody" in (openapi_extra or {})
        endpoint = in_turn(endpoint) if self.waits else in_a_thread(endpoint)
        super().__init__(path, endpoint, methods=methods, openapi_extra=openapi_extra, **kwargs)
        if self.reads_itself and self.body_field is not None:
            raise TypeError(f"{path}: its body is read by itself or as a model, not both")

    def get_route_handler(self) -> Callable[[Request], Any]:
        """Make what FastAPI calls with each request."""
        handle = super().get_route_handler()

        async def known(exact: ExactRequest) -> Response:
            """Answer somebody known: of nobody else is a body as much as looked through."""
            await find_out(exact)
            answer: Response = await handle(exact)
            return answer

        async def begun_on_the_loop(request: Request) -> Response:
            return await known(ExactRequest(request.scope, request.receive))

        async def in_one_thread(request: Request) -> Response:
            exact = ExactRequest(request.scope, request.receive)
            if self.body_field is not None:
                await exact.body()
            if not self.waits:
                return await run_in_threadpool(run_through, known, exact)
            with turn_if_free() as free:
                if free:
                    return await run_in_threadpool(run_through, known, exact)
            # Who may not, or is mistaken, is told before anybody waits.
            return await known(exact)

        return begun_on_the_loop if self.reads_itself else in_one_thread


def short_name(route: APIRoute) -> str:
    """Name an operation as its function is named: short, and the same wherever it stands."""
    return route.name


def api_router(*tags: str) -> APIRouter:
    """Make the router of a package: under `/api/v1`, and reading its bodies exactly."""
    return APIRouter(
        prefix=API,
        route_class=ExactRoute,
        tags=[*tags],
        generate_unique_id_function=short_name,
    )

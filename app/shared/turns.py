"""Whoever writes waits for their turn without a thread, so that whoever reads finds one.

Writes follow one another, since one pen is handed round. On a slow disk those that wait for it
would soon have every thread, and nobody could look up a sack until they are through.
"""

from collections.abc import Awaitable, Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import wraps
from inspect import iscoroutinefunction
from typing import Any, Final, ParamSpec, TypeVar

from anyio import Semaphore, WouldBlock
from anyio.lowlevel import RunVar
from fastapi.routing import APIRoute
from prometheus_client import Gauge
from starlette.concurrency import run_in_threadpool

from app.shared.threads import is_thread

P = ParamSpec("P")
R = TypeVar("R")

AT_ONCE: Final = 2
"""One has the pen; the next is there when it is free, or is told that its twin, sent with the same
key, is being worked on."""

WAITING: Final = Gauge(
    "jutebook_writes_waiting",
    "Writes that wait for their turn.",
    multiprocess_mode="livesum",
)

_TURNS: Final[RunVar[Semaphore]] = RunVar("turns of those who write")


def share_threads(threads: int) -> None:
    """Keep a thread for reading, where there is more than one."""
    _TURNS.set(Semaphore(max(1, min(AT_ONCE, threads - 1))))


def _turns() -> Semaphore:
    turns = _TURNS.get(None)
    if turns is None:  # an app whose start nobody waited for, as in a test
        _TURNS.set(turns := Semaphore(AT_ONCE))
    return turns


@contextmanager
def turn_if_free() -> Iterator[bool]:
    """Take a turn where nobody waits for one; tell whether there was one."""
    turns = _turns()
    try:
        turns.acquire_nowait()
    except WouldBlock:
        yield False
        return
    try:
        yield True
    finally:
        turns.release()


def in_turn(endpoint: Callable[P, R]) -> Callable[P, Awaitable[R]]:
    """Let an endpoint wait for its turn, in the order in which requests came.

    In a thread already it has its turn.
    """

    @wraps(endpoint)
    async def waiting(*args: P.args, **kwargs: P.kwargs) -> R:
        if is_thread():
            return endpoint(*args, **kwargs)
        turns = _turns()
        try:
            turns.acquire_nowait()
        except WouldBlock:
            with WAITING.track_inprogress():
                await turns.acquire()
        try:
            return await run_in_threadpool(endpoint, *args, **kwargs)
        finally:
            turns.release()

    return waiting


_READING: Final[set[Callable[..., Any]]] = set()


def reads(endpoint: Callable[P, R]) -> Callable[P, R]:
    """Mark an endpoint that is posted to and writes nothing: it waits for nobody."""
    _READING.add(endpoint)
    return endpoint


def writes(methods: Iterable[str] | None, endpoint: Callable[..., Any]) -> bool:
    """Tell whether a route writes."""
    return bool(set(methods or ()) - {"GET", "HEAD"}) and endpoint not in _READING


class TurnRoute(APIRoute):
    """A route that takes turns where it writes."""

    def __init__(
        self,
        path: str,
        endpoint: Callable[..., Any],
        *,
        methods: set[str] | list[str] | None = None,
        **kwargs: Any,  # noqa: ANN401 - what a route of the library takes
    ) -> None:
        """Make it as the library does; a coroutine takes no thread and is left alone."""
        if writes(methods, endpoint) and not iscoroutinefunction(endpoint):
            endpoint = in_turn(endpoint)
        super().__init__(path, endpoint, methods=methods, **kwargs)

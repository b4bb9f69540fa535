"""What may wait for the database runs in a thread: a request of the API in one from end to end.

FastAPI hands a request to a thread for each function that may wait: once to find out who asks, and
once more to answer. Handing over takes longer than finding out.
"""

from asyncio import get_running_loop
from collections.abc import Awaitable, Callable, Coroutine
from functools import wraps
from typing import Any, ParamSpec, TypeVar

from starlette.concurrency import run_in_threadpool

P = ParamSpec("P")
R = TypeVar("R")


def in_a_thread(work: Callable[P, R]) -> Callable[P, Awaitable[R]]:
    """Let FastAPI call what may wait: in the thread that it is in, or else in one of its own."""

    @wraps(work)
    async def called(*args: P.args, **kwargs: P.kwargs) -> R:
        if is_thread():
            return work(*args, **kwargs)
        return await run_in_threadpool(work, *args, **kwargs)

    return called


def is_thread() -> bool:
    """Tell whether this is a thread that may wait, and not the loop of events."""
    try:
        get_running_loop()
    except RuntimeError:
        return True
    return False


def run_through(
    handle: Callable[P, Coroutine[Any, Any, R]], *args: P.args, **kwargs: P.kwargs
) -> R:
    """Run to its end, in a thread, a coroutine that waits for nothing but the database.

    Raises:
        RuntimeError: it waits for something else, which only the loop of events can.
    """
    coroutine = handle(*args, **kwargs)
    try:
        coroutine.send(None)
    except StopIteration as ended:
        answer: R = ended.value
        return answer
    coroutine.close()
    raise RuntimeError(f"{coroutine!r} waits, which a thread cannot do")

"""Bodies that are read as they come, and no further and no longer than one may be."""

import asyncio
from collections.abc import AsyncGenerator, AsyncIterator, Collection
from contextlib import asynccontextmanager

from fastapi import Request
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect

from app.shared.sign_in import identify_again
from app.shared.threads import in_a_thread


async def read_body(request: Request, most_bytes: int, noun: str = "A body") -> bytes:
    """Read a body to its end.

    Raises:
        HTTPException: 413 as soon as more came than there may be, or as of `in_time`.
            Nothing else is let through where FastAPI reads a body.
    """
    async with in_time(request, noun):
        return b"".join([some async for some in up_to(request, most_bytes, noun)])


@asynccontextmanager
async def in_time(request: Request, noun: str) -> AsyncIterator[None]:
    """Give a body the seconds that one has to come.

    Raises:
        HTTPException: 408 when it took longer, 400 when its sender went away.
    """
    seconds = request.app.state.settings.body_seconds
    try:
        async with asyncio.timeout(seconds):
            yield
    except TimeoutError as error:
        raise HTTPException(408, f"{noun} has {seconds} seconds to come.") from error
    except ClientDisconnect as error:  # who goes out of reach of the Wi-Fi is no fault of ours
        raise HTTPException(400, f"{noun} broke off: its sender went away.") from error


async def up_to(request: Request, most_bytes: int, noun: str) -> AsyncGenerator[bytes, None]:
    """Read a body as it comes; 413 as soon as more came than there may be."""
    came = 0
    async for some in request.stream():
        came += len(some)
        if came > most_bytes:
            raise HTTPException(413, f"{noun} has at most {most_bytes} bytes.")
        yield some


async def body_of(request: Request, kinds: Collection[str], most_bytes: int, noun: str) -> bytes:
    """Read a body of one of these media types.

    Raises:
        HTTPException: 415, or as of `read_body`.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind not in kinds:
        raise HTTPException(415, f"The body is {kind or 'of no stated type'}.")
    content = await read_body(request, most_bytes, noun)
    await still_known(request)
    return content


still_known = in_a_thread(identify_again)
"""Asked after a body that its route reads itself: it may have taken a while to come."""

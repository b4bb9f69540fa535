"""Bodies that are read as they come, and no further and no longer than one may be."""

import asyncio
from collections.abc import Collection

from fastapi import Request
from starlette.exceptions import HTTPException


async def read_body(request: Request, most_bytes: int, noun: str = "A body") -> bytes:
    """Read a body to its end.

    Raises:
        HTTPException: 413 as soon as more came than there may be, 408 when it took too long.
            Nothing else is let through where FastAPI reads a body.
    """
    seconds = request.app.state.settings.body_seconds
    content = bytearray()
    try:
        async with asyncio.timeout(seconds):
            async for some in request.stream():
                content += some
                if len(content) > most_bytes:
                    raise HTTPException(413, f"{noun} has at most {most_bytes} bytes.")
    except TimeoutError as error:
        raise HTTPException(408, f"{noun} has {seconds} seconds to come.") from error
    return bytes(content)


async def body_of(request: Request, kinds: Collection[str], most_bytes: int, noun: str) -> bytes:
    """Read a body of one of these media types.

    Raises:
        HTTPException: 415, or as of `read_body`.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind not in kinds:
        raise HTTPException(415, f"The body is {kind or 'of no stated type'}.")
    return await read_body(request, most_bytes, noun)

"""Bodies that are read as they come: files, and no further than one may be long."""

from collections.abc import Collection

from fastapi import Request

from app.shared.problems import Refused


async def body_of(request: Request, kinds: Collection[str], most_bytes: int, noun: str) -> bytes:
    """Read a body of one of these media types.

    Raises:
        Refused: `unsupported-media-type`; `too-large` as soon as more came than there may be.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind not in kinds:
        raise Refused("unsupported-media-type", f"The body is {kind or 'of no stated type'}.")
    content = bytearray()
    async for some in request.stream():
        content += some
        if len(content) > most_bytes:
            raise Refused(
                "too-large", f"{noun} has at most {most_bytes // 10**6} MB ({most_bytes} bytes)."
            )
    return bytes(content)

"""A client that sends requests over so many connections at once, each as soon as it was answered.

It speaks HTTP/1.1 over bare sockets, so that little of the processors is taken from the server.
"""

import asyncio
import re
from collections.abc import Iterator
from time import perf_counter
from typing import Final, NamedTuple
from urllib.parse import urlsplit

_LENGTH: Final = re.compile(rb"content-length: (\d+)", re.IGNORECASE)
_HEAD_ENDS: Final = b"\r\n\r\n"


class Loaded(NamedTuple):
    """How the answers came."""

    took_s: list[float]
    """Each answer, from the sending of its request on."""
    whole_s: float
    refused: int
    """Answers that were not of the two hundreds."""

    @property
    def a_second(self) -> float:
        return len(self.took_s) / self.whole_s


def request(method: str, path: str, token: str | None = None, body: bytes | None = None) -> bytes:
    """Write a request as it goes over the wire."""
    lines = [f"{method} {path} HTTP/1.1", "Host: 127.0.0.1"]
    if token:
        lines.append(f"Authorization: Bearer {token}")
    if body is not None:
        lines += ["Content-Type: application/json", f"Content-Length: {len(body)}"]
    return "\r\n".join([*lines, "", ""]).encode() + (body or b"")


def load(address: str, requests: Iterator[bytes], connections: int, number: int) -> Loaded:
    """Send so many requests over so many connections; `requests` has no end."""
    return asyncio.run(_load(address, requests, connections, number))


async def _load(address: str, requests: Iterator[bytes], connections: int, number: int) -> Loaded:
    url = urlsplit(address)
    took_s: list[float] = []
    refused = 0

    async def client() -> None:
        nonlocal refused
        reader, writer = await asyncio.open_connection(url.hostname, url.port)
        while len(took_s) < number:
            said = next(requests)
            began = perf_counter()
            writer.write(said)
            head = await reader.readuntil(_HEAD_ENDS)
            length = _LENGTH.search(head)
            assert length, head
            await reader.readexactly(int(length.group(1)))
            took_s.append(perf_counter() - began)
            refused += not head.startswith(b"HTTP/1.1 2")
        writer.close()
        await writer.wait_closed()

    began = perf_counter()
    await asyncio.gather(*(client() for _ in range(connections)))
    return Loaded(took_s, perf_counter() - began, refused)

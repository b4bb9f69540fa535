"""Connections that bring nothing, or take nothing, are let go: each holds a place of few.

The server itself gives a head as long as it likes to come, at any size, and waits for ever for a
client that does not take its answer.
"""

from asyncio import TimerHandle, Transport
from contextlib import suppress
from sys import byteorder
from typing import Final

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

LOOKS_EVERY_S: Final = 30
"""So often each connection is looked at; who stood still from one look to the next is let go."""
LARGEST_HEAD: Final = 64 * 1024
"""So many bytes the head of a request may have; they are counted as they come, in large pieces."""


class Connection(HttpToolsProtocol):
    """A connection of the server's, with limits to heads and to how long it may stand still."""

    _look: TimerHandle | None = None
    _heads = 0
    """How many heads came whole."""
    _came = 0
    """How many bytes of the next one came."""
    _in_message = False
    _seen: tuple[int, int] | None = None
    """How it stood at the last look, where it stood still then."""

    def connection_made(self, transport: Transport) -> None:  # type: ignore[override]
        """Begin to look at it."""
        super().connection_made(transport)
        self._look = self.loop.call_later(LOOKS_EVERY_S, self._look_at)

    def connection_lost(self, exc: Exception | None) -> None:
        """Look no more."""
        if self._look is not None:
            self._look.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what came, unless a head grows beyond its limit."""
        if not self._in_message:
            self._came += len(data)
        super().data_received(data)
        if self._came > LARGEST_HEAD and not self.transport.is_closing():
            self.send_400_response("The head of a request has at most 64 KiB.")

    def on_headers_complete(self) -> None:
        """Note that a head came whole."""
        self._heads += 1
        self._came = 0
        self._in_message = True
        super().on_headers_complete()

    def on_message_complete(self) -> None:
        """Note that a request came whole."""
        self._in_message = False
        super().on_message_complete()

    def _look_at(self) -> None:
        stands = self._stands_still()
        if stands is not None and stands == self._seen:
            self.transport.abort()
            return
        self._seen = stands
        self._look = self.loop.call_later(LOOKS_EVERY_S, self._look_at)

    def _stands_still(self) -> tuple[int, int] | None:
        """Tell how far it is, if it waits for its client; None while a request is worked on."""
        untaken = _untaken(self.transport)
        idle = not self._heads or self.cycle.response_complete
        return (self._heads, untaken) if untaken or idle else None


def _untaken(transport: Transport) -> int:
    """Count the bytes that a client has not taken, those that lie with the system among them.

    The system takes some megabytes at once and then nothing for a while, however steadily a slow
    client takes them.
    """
    untaken = transport.get_write_buffer_size()
    # Where the connection is gone, or the system does not tell, there is nothing to add.
    with suppress(ImportError, OSError, ValueError):
        from fcntl import ioctl  # noqa: PLC0415 - not on every system
        from termios import TIOCOUTQ  # noqa: PLC0415 - likewise

        line = transport.get_extra_info("socket").fileno()
        untaken += int.from_bytes(ioctl(line, TIOCOUTQ, bytes(4)), byteorder)
    return untaken

"""The service as a process of its own, and lines to it on which every byte is the test's."""

import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from tests.serving import PATIENCE_S

PROGRAM = Path(sys.executable).with_name("jutebook")


@contextmanager
def started(**settings: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Serve until the block ends; hands out the process and the address it printed."""
    with subprocess.Popen(  # noqa: S603 - our own words
        [PROGRAM, "serve"],
        env=os.environ | {"JUTEBOOK_PORT": "0", **settings},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
    ) as process:
        try:
            assert process.stdout is not None
            said = process.stdout.readline()
            address = re.fullmatch(r"Jutebook serves at (http://127\.0\.0\.1:\d+)\n", said)
            assert address, said
            yield process, address[1]
        finally:
            with suppress(ProcessLookupError):  # of several, those too that it started
                os.killpg(process.pid, signal.SIGKILL)


def line_to(address: str) -> socket.socket:
    """Open a connection; whoever says nothing on it for long enough to hang fails the test."""
    host, port = address.removeprefix("http://").split(":")
    return socket.create_connection((host, int(port)), timeout=PATIENCE_S)


def all_of(line: socket.socket) -> bytes:
    """Read until the other side lets go."""
    came = b""
    with suppress(ConnectionResetError):
        while some := line.recv(100_000):
            came += some
    return came

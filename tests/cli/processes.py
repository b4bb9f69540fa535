"""The service as a process of its own, and lines to it on which every byte is the test's."""

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

PROGRAM = Path(sys.executable).with_name("jutebook")


@contextmanager
def started(
    noted: IO[str] | int = subprocess.DEVNULL, /, **settings: str
) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Serve until the block ends; hands out the process and the address it printed.

    What it notes goes into a file, or nowhere.
    """
    with subprocess.Popen(  # noqa: S603 - our own words
        [PROGRAM, "serve"],
        env=os.environ | {"JUTEBOOK_PORT": "0", **settings},
        stdout=subprocess.PIPE,
        stderr=noted,
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

"""The demo as a process: it says where it is, lets people in, and leaves nothing behind."""

import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from app.cli.demo import free_port
from tests.conftest import CHECKOUT


@contextmanager
def demo(folder: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Run `jutebook demo`; yields the process and what it said before it began to serve."""
    surroundings = {
        name: value for name, value in os.environ.items() if not name.startswith("JUTEBOOK_")
    }
    process = subprocess.Popen(
        [sys.executable, "-m", "app", "demo", "--days", "5", "--port", "0"],
        cwd=CHECKOUT,
        env=surroundings | {"TMPDIR": str(folder)},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    try:
        assert process.stdout is not None
        said = []
        for line in process.stdout:
            said.append(line)
            if line.startswith("Ctrl-C"):
                break
        yield process, "".join(said)
    finally:
        process.kill()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()


@pytest.mark.parametrize("stop", [signal.SIGTERM, signal.SIGINT])
def test_the_demo_says_where_it_is_lets_people_in_and_leaves_nothing_behind(
    tmp_path: Path, stop: signal.Signals
) -> None:
    with demo(tmp_path) as (process, said):
        address = _found(r"The demo serves at (http://\S+)", said)
        token = _found(r"roaster +Rufus Kallen +(jb_\S+)", said)
        traces = re.findall(r'" "(http://\S+/api/v1/trace/\S+)"', said)

        with httpx.Client(timeout=60) as client:
            ready = client.get(f"{address}/readyz")
            docs = client.get(_found(r"(http://\S+/api/docs)", said))
            answers = [
                client.get(trace, headers={"Authorization": f"Bearer {token}"}) for trace in traces
            ]
        process.send_signal(stop)
        process.wait()

    assert ready.status_code == docs.status_code == 200
    assert [answer.status_code for answer in answers] == [200, 200]
    assert all(answer.json()["customers"] for answer in answers)
    assert process.returncode == 0
    assert list(tmp_path.iterdir()) == []


def _found(pattern: str, said: str) -> str:
    found = re.search(pattern, said)
    assert found, said
    return found.group(1)


def test_the_demo_takes_the_next_port_when_its_own_is_taken(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        wanted = taken.getsockname()[1]

        port = free_port("127.0.0.1", wanted)

    assert port > wanted
    assert f"Port {wanted} is taken; the demo takes {port}." in capsys.readouterr().err

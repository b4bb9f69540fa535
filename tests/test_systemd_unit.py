"""What openapi-notes/running.md says of systemd is true: settings, unit and the command by hand."""

import os
import re
import subprocess
import sys
from pathlib import Path

from app.cli.serve import GRACE_S
from tests.conftest import CHECKOUT

PROGRAMS = Path(sys.executable).parent


def block(begins: str) -> str:
    """Find the block of the page that begins so."""
    page = (CHECKOUT / "openapi-notes" / "running.md").read_text("utf-8")
    found = re.search(rf"```\w*\n({re.escape(begins)}.*?)```", page, re.DOTALL)
    assert found, begins
    return found[1]


def test_the_command_by_hand_migrates_the_book_where_the_unit_may_write(tmp_path: Path) -> None:
    state, settings = tmp_path / "state", tmp_path / "jutebook.env"
    state.mkdir()
    settings.write_text(
        block("JUTEBOOK_DATABASE_URL=sqlite").replace("/var/lib/jutebook", str(state))
    )
    as_user, shell = block("sudo -u jutebook").split(" sh -c ")
    by_hand = (
        f"sh -c {shell}".replace("/var/lib/jutebook", str(state))
        .replace("/etc/jutebook.env", str(settings))
        .replace("/opt/jutebook/bin", str(PROGRAMS))
    )

    done = [
        subprocess.run(  # noqa: S603 - our own words
            ["/bin/sh", "-c", by_hand],
            check=True,
            capture_output=True,
            text=True,
            env={"PATH": os.environ["PATH"], "HOME": "/nobody"},
        ).stdout
        for _ in range(2)
    ]

    assert as_user == "sudo -u jutebook"
    assert done == [
        "The database is at the newest schema now.\n",
        "The database is at the newest schema already.\n",
    ]
    assert (state / "book.db").is_file()


def test_the_unit_migrates_nothing_and_is_stopped_with_patience() -> None:
    unit = dict(
        line.split("=", 1) for line in block("[Unit]").splitlines() if re.match(r"\w+=", line)
    )

    assert "ExecStartPre" not in unit
    assert unit["ExecStart"] == "/opt/jutebook/bin/jutebook serve"
    assert unit["EnvironmentFile"] == "/etc/jutebook.env"
    assert f"/var/lib/{unit['StateDirectory']}" == "/var/lib/jutebook"
    assert int(unit["TimeoutStopSec"]) >= GRACE_S + 5

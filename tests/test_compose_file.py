"""What docker-compose.yml says is true: its start command brings up a service that is ready."""

import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from uuid import uuid4

import httpx
import pytest
from ruamel.yaml import YAML
from sqlalchemy import make_url

from app.cli.serve import GRACE_S
from tests.postgres import PostgresServer

COMPOSE_FILE = Path(__file__).parent.parent / "docker-compose.yml"
PROGRAMS = Path(sys.executable).parent
"""Where `jutebook` and `python` are, as in the image."""
POLLS = 150
POLL_S = 0.2


def told(part: str, name: str) -> dict[str, Any]:
    whole: dict[str, dict[str, dict[str, Any]]] = YAML(typ="safe", pure=True).load(COMPOSE_FILE)
    return whole[part][name]


def service(name: str) -> dict[str, Any]:
    return told("services", name)


def in_the_container(home: Path, environment: Mapping[str, str]) -> dict[str, str]:
    path = f"{PROGRAMS}{os.pathsep}{os.environ['PATH']}"
    return {"PATH": path, "HOME": str(home), **environment}


def wait_until_ready(process: subprocess.Popen[bytes], port: str, log: Path) -> None:
    for _ in range(POLLS):
        try:
            if httpx.get(f"http://127.0.0.1:{port}/readyz", trust_env=False).status_code == 200:
                return
        except httpx.TransportError:
            pass
        try:
            process.wait(timeout=POLL_S)
        except subprocess.TimeoutExpired:
            continue
        pytest.fail(f"ended with {process.returncode} before it was ready:\n{log.read_text()}")
    pytest.fail(f"not ready after {POLLS} questions:\n{log.read_text()}")


@pytest.fixture
def free_port() -> str:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return str(probe.getsockname()[1])


def test_the_file_follows_the_compose_specification() -> None:
    command = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec"]

    checked = subprocess.run(  # noqa: S603 - our own words
        [*command, COMPOSE_FILE], check=False, capture_output=True, text=True
    )

    assert checked.returncode == 0, checked.stdout + checked.stderr


def test_the_service_looks_for_the_database_that_the_other_service_keeps() -> None:
    keeper = service("postgres")["environment"]

    # What ${NAME:?message} stands for is not known here and no port or host.
    looked_for = make_url(
        re.sub(
            r"\$\{[^}]*\}", "secret", service("jutebook")["environment"]["JUTEBOOK_DATABASE_URL"]
        )
    )

    assert (looked_for.host, looked_for.port) == ("postgres", 5432)
    assert looked_for.username == keeper["POSTGRES_USER"]
    assert looked_for.database == keeper["POSTGRES_DB"]


def test_the_replica_is_there_for_the_asking_and_let_in_as_one_that_follows() -> None:
    replica, keeper = service("replica"), service("postgres")
    begins, asked = COMPOSE_FILE.read_text().split("name: jutebook\n")[0], "--username=jutebook"
    read_from = make_url(re.findall(r"JUTEBOOK_READ_DATABASE_URL=(\S+)\"", begins)[0])
    follows = [
        line.split()
        for line in told("configs", "access")["content"].splitlines()
        if line.split()[1] == "replication"
    ]

    assert replica["profiles"] == re.findall(r"COMPOSE_PROFILES=(\w+)", begins)
    assert (read_from.host, read_from.port, read_from.database) == ("replica", 5432, "jutebook")
    assert replica["image"] == keeper["image"]
    assert asked in replica["command"][2]
    assert follows == [["host", "replication", "jutebook", "samenet", "scram-sha-256"]]
    assert "ports" not in replica


def test_the_service_is_published_to_its_own_machine_only() -> None:
    ours = service("jutebook")

    assert [re.sub(r"\$\{[^}]*\}", "8000", port) for port in ours["ports"]] == [
        f"127.0.0.1:8000:{ours['environment']['JUTEBOOK_PORT']}"
    ]
    assert "ports" not in service("postgres")


def test_a_stop_waits_for_longer_than_the_service_does() -> None:
    said = re.fullmatch(r"(\d+)s", service("jutebook")["stop_grace_period"])

    assert said
    assert int(said[1]) >= GRACE_S + 5


def test_the_start_command_names_subcommands_that_exist(tmp_path: Path) -> None:
    shell, option, line = service("jutebook")["command"]
    named = re.findall(r"\bjutebook ([a-z]\S*)", line)

    answers = [
        subprocess.run(  # noqa: S603 - our own words
            [PROGRAMS / "jutebook", name, "--help"],
            check=False,
            capture_output=True,
            cwd=tmp_path,
            env=in_the_container(tmp_path, {}),
        )
        for name in named
    ]

    assert (shell, option, named) == ("sh", "-c", ["migrate", "serve"])
    assert [answer.returncode for answer in answers] == [0, 0], [a.stderr for a in answers]


def test_the_start_command_brings_up_a_ready_service_that_stops_when_asked(
    postgres_server: PostgresServer, tmp_path: Path, free_port: str
) -> None:
    ours = service("jutebook")
    database = f"compose_{uuid4().hex}"
    postgres_server.create_database(database)
    url = postgres_server.url(database).replace("+psycopg", "")
    substituted = {
        "JUTEBOOK_DATABASE_URL": url,
        "JUTEBOOK_READ_DATABASE_URL": "",
        "JUTEBOOK_HOST": "127.0.0.1",
        "JUTEBOOK_PORT": free_port,
    }
    environment = in_the_container(tmp_path, {**ours["environment"], **substituted})
    log = tmp_path / "log"

    with (
        log.open("wb") as output,
        subprocess.Popen(  # noqa: S603 - the very command of the file
            ours["command"], stdout=output, stderr=output, cwd=tmp_path, env=environment
        ) as process,
    ):
        try:
            wait_until_ready(process, free_port, log)
            health = subprocess.run(  # noqa: S603 - the very check of the file
                ours["healthcheck"]["test"][1:],
                check=False,
                capture_output=True,
                cwd=tmp_path,
                env=environment,
            )
            process.send_signal(signal.SIGTERM)
            ended_with = process.wait(timeout=30)
        finally:
            process.kill()
    postgres_server.drop_database(database)

    assert health.returncode == 0, health.stderr
    assert ended_with == 0, log.read_text()

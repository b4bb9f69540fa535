"""People and tokens: who may come in, and what is kept of their secrets."""

import os
import pty
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from fastapi import FastAPI
from sqlalchemy import Engine, select

from app.shared.db import reading
from app.shared.sign_in import User
from tests.api import Api
from tests.cli.conftest import Jutebook

PROGRAM = Path(sys.executable).with_name("jutebook")
PASSWORD = "a mill by the river"


def stored_hash(engine: Engine) -> str:
    with reading(engine) as session:
        return session.scalars(select(User)).one().password_hash


def test_a_token_is_alone_on_standard_output_and_opens_the_api(
    jutebook: Jutebook, service: FastAPI
) -> None:
    made = jutebook("tokens", "add", "scanner-3", "--roles", "warehouse, quality")

    assert made.exit_code == 0
    assert len(made.stdout.splitlines()) == 1
    assert made.stderr == ""
    scanner = Api(service, made.stdout.strip())
    scanner.post("/locations", {"code": "A-01", "kind": "rack"})
    assert scanner.get("/entries")["items"][0]["who"] == "scanner-3"
    scanner.close()


def test_a_revoked_token_opens_nothing_any_more(jutebook: Jutebook, service: FastAPI) -> None:
    token = jutebook("tokens", "add", "lost", "--roles", "admin").stdout.strip()

    revoked = jutebook("tokens", "revoke", "lost")
    again = jutebook("tokens", "revoke", "lost")

    finder = Api(service, token)
    assert finder.send("GET", "/lots").status_code == 401
    finder.close()
    assert revoked.stdout == "Revoked 1 token named lost.\n"
    assert (again.exit_code, again.stderr) == (1, "jutebook: There is no live token named lost.\n")


def test_a_token_is_changed_for_another_while_both_open(
    jutebook: Jutebook, service: FastAPI
) -> None:
    def book(token: str, place: str) -> int:
        with closing(Api(service, token)) as device:
            return device.send("POST", "/locations", {"code": place, "kind": "rack"}).status_code

    old = jutebook("tokens", "add", "scanner-3", "--roles", "warehouse").stdout.strip()
    new = jutebook("tokens", "add", "scanner-3-spring", "--roles", "warehouse").stdout.strip()
    both_live = [book(old, "A-01"), book(new, "A-02")]
    revoked = jutebook("tokens", "revoke", "scanner-3")
    one_lives = [book(old, "A-03"), book(new, "A-04")]

    with closing(Api(service, new)) as device:
        names = [entry["who"] for entry in device.get("/entries")["items"]]
    assert both_live == [201, 201]
    assert revoked.stdout == "Revoked 1 token named scanner-3.\n"
    assert one_lives == [401, 201]
    assert names == ["scanner-3", "scanner-3-spring", "scanner-3-spring"]


def test_a_name_that_two_tokens_share_is_revoked_for_both(
    jutebook: Jutebook, service: FastAPI
) -> None:
    secrets = [
        jutebook("tokens", "add", "scanner-3", "--roles", "warehouse").stdout.strip()
        for _ in range(2)
    ]

    revoked = jutebook("tokens", "revoke", "scanner-3")

    assert revoked.stdout == "Revoked 2 tokens named scanner-3.\n"
    for secret in secrets:
        with closing(Api(service, secret)) as device:
            assert device.send("GET", "/lots").status_code == 401


def test_lists_name_people_and_tokens_and_show_no_secret(jutebook: Jutebook) -> None:
    token = jutebook("tokens", "add", "[red]scanner", "--roles", "roaster,warehouse").stdout.strip()
    jutebook("users", "add", "Ida", "--roles", "buyer", typed=f"{PASSWORD}\n")

    tokens = jutebook("tokens", "list").stdout
    users = jutebook("users", "list").stdout

    assert "[red]scanner" in tokens
    assert "roaster, warehouse" in tokens
    assert "Ida" in users
    assert "buyer" in users
    assert token not in tokens
    assert "argon2" not in users


def test_a_password_is_the_first_line_of_standard_input_and_only_its_hash_is_kept(
    jutebook: Jutebook, engine: Engine
) -> None:
    done = jutebook("users", "add", "Ida", "--roles", "quality", typed=f" {PASSWORD} \r\nmore\n")

    assert done.stdout == "Ida may sign in as quality.\n"
    assert PasswordHasher().verify(stored_hash(engine), f" {PASSWORD} ")


def test_on_a_terminal_the_password_is_asked_for_twice_and_not_shown(
    database_url: str, engine: Engine
) -> None:
    ours, theirs = pty.openpty()
    with subprocess.Popen(  # noqa: S603 - our own words
        [PROGRAM, "users", "add", "Ida", "--roles", "admin"],
        env=os.environ | {"JUTEBOOK_DATABASE_URL": database_url},
        stdin=theirs,
        stdout=subprocess.PIPE,
        stderr=theirs,
        start_new_session=True,  # no other terminal to ask at
    ) as process:
        shown = b""
        for _ in range(2):
            while not shown.endswith(b": "):
                shown += os.read(ours, 1024)
            os.write(ours, f"{PASSWORD}\n".encode())
            shown += os.read(ours, 1)
        ended_with = process.wait(timeout=60)
    os.close(theirs)
    os.close(ours)

    assert ended_with == 0
    assert PASSWORD.encode() not in shown
    assert PasswordHasher().verify(stored_hash(engine), PASSWORD)


@pytest.mark.parametrize(
    ("words", "typed", "said"),
    [
        (
            ("users", "add", "Ida", "--roles", "warehouse,barista"),
            PASSWORD,
            "There is no role barista; the roles are warehouse, roaster, quality, buyer, admin.",
        ),
        (("tokens", "add", "x", "--roles", " ,"), "", "No role was named; the roles are warehouse"),
        (("tokens", "add", "  ", "--roles", "admin"), "", "A name has 1 to 100"),
        (("tokens", "add", "x" * 101, "--roles", "admin"), "", "A name has 1 to 100"),
        (
            ("users", "add", "Ida", "--roles", "admin"),
            "short",
            "Ida was not entered: a password has at least 12 characters.",
        ),
        (("users", "add", "Ida", "--roles", "admin"), "", "a password has at least 12 characters"),
    ],
)
def test_a_slip_is_one_sentence_and_enters_nobody(
    jutebook: Jutebook, words: tuple[str, ...], typed: str, said: str
) -> None:
    refused = jutebook(*words, typed=typed)

    assert refused.exit_code == 1
    assert said in refused.stderr
    assert refused.stdout == ""
    assert "Ida" not in jutebook("users", "list").stdout


def test_a_name_is_given_to_one_person_only(jutebook: Jutebook) -> None:
    jutebook("users", "add", "Ida", "--roles", "buyer", typed=PASSWORD)

    refused = jutebook("users", "add", "Ida", "--roles", "admin", typed=PASSWORD)

    assert (refused.exit_code, "there is already a user named Ida" in refused.stderr) == (1, True)


@pytest.mark.parametrize(
    "words",
    [("users", "list"), ("tokens", "add", "x", "--roles", "admin"), ("trace", "OPEN-1")],
)
def test_before_the_tables_are_made_every_command_names_the_one_that_makes_them(
    jutebook: Jutebook, empty_url: str, words: tuple[str, ...]
) -> None:
    refused = jutebook(*words, database=empty_url)

    assert refused.exit_code == 1
    assert "`jutebook migrate`" in refused.stderr

"""The server that the other tests lean on starts, copies databases and minds its own business."""

from collections.abc import Iterator
from uuid import uuid4

import psycopg
import pytest

from tests.postgres import PostgresServer, PostgresUnavailableError


@pytest.fixture
def template(postgres_server: PostgresServer) -> Iterator[str]:
    name = f"template_{uuid4().hex}"
    postgres_server.create_database(name)
    with connect(postgres_server, name) as connection:
        connection.execute("CREATE TABLE sack (code text)")
        connection.execute("INSERT INTO sack VALUES ('S-1')")
    yield name
    postgres_server.drop_database(name)


def connect(server: PostgresServer, database: str) -> psycopg.Connection:
    return psycopg.connect(server.url(database).replace("+psycopg", ""))


def test_a_database_copied_from_a_template_has_its_rows_and_a_life_of_its_own(
    postgres_server: PostgresServer, template: str
) -> None:
    copy = f"copy_{uuid4().hex}"

    postgres_server.create_database(copy, template)
    with connect(postgres_server, copy) as connection:
        connection.execute("INSERT INTO sack VALUES ('S-2')")
        copied = connection.execute("SELECT code FROM sack ORDER BY code").fetchall()
    postgres_server.drop_database(copy)

    with connect(postgres_server, template) as connection:
        original = connection.execute("SELECT code FROM sack").fetchall()
    assert copied == [("S-1",), ("S-2",)]
    assert original == [("S-1",)]


def test_a_second_server_runs_beside_the_first_and_recovers_what_was_committed_before_a_crash(
    postgres_server: PostgresServer,
) -> None:
    with PostgresServer(durable=True) as second:
        second.create_database("book")
        with connect(second, "book") as connection:
            connection.execute("CREATE TABLE sack (code text)")
            connection.execute("INSERT INTO sack VALUES ('S-1')")

        second.crash()
        second.start()

        with connect(second, "book") as connection:
            assert connection.execute("SELECT code FROM sack").fetchall() == [("S-1",)]
            assert connection.execute("SHOW fsync").fetchone() == ("on",)
        with connect(postgres_server, "postgres") as connection:
            assert connection.execute("SELECT 1").fetchone() == (1,)
    with pytest.raises(psycopg.OperationalError):
        connect(second, "book")


def test_a_server_that_cannot_start_says_what_postgresql_said(
    postgres_server: PostgresServer,
) -> None:
    with PostgresServer() as second:
        second.stop()
        second.port = postgres_server.port

        with pytest.raises(PostgresUnavailableError, match="Address already in use"):
            second.start()

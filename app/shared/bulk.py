"""Writing many rows at once, as each database takes them best."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache
from typing import Any, Final, NamedTuple

import psycopg
from sqlalchemy import Connection, Dialect, insert
from sqlalchemy.dialects import sqlite
from sqlalchemy.dialects.postgresql.psycopg import PGDialect_psycopg
from sqlalchemy.exc import DBAPIError
from sqlalchemy.sql.compiler import SQLCompiler
from sqlmodel import SQLModel

from app.shared.db import batched

_AT_ONCE: Final = 5000
_WORTH_COPYING: Final = 50
"""From so many rows on COPY is the quicker: a round trip more, and next to nothing for a row."""

_DIALECTS: Final[Mapping[str, Dialect]] = {
    "sqlite": sqlite.dialect(),
    "postgresql": PGDialect_psycopg(paramstyle="format"),  # type: ignore[no-untyped-call]
}
"""In which statements are worded: with values in an order, as drivers take them."""


class _Into(NamedTuple):
    """How rows go into a table."""

    insert: str
    columns: Sequence[tuple[str, Callable[[Any], Any] | None]]
    """In their order, each with what its type makes of a value for the database."""

    def values(self, rows: Iterable[Mapping[str, object]]) -> Iterator[tuple[Any, ...]]:
        for row in rows:
            yield tuple([
                as_kept(row[column]) if as_kept else row[column] for column, as_kept in self.columns
            ])  # fmt: skip


def write_rows(connection: Connection, table: str, rows: Iterable[Mapping[str, object]]) -> None:
    """Write rows that have the same columns; triggers, keys and checks hold as they do for one."""
    for some in batched(rows, _AT_ONCE):
        if connection.dialect.name == "postgresql" and len(some) >= _WORTH_COPYING:
            _copy(connection, table, some)
        else:
            into = _into(connection.dialect.name, table, tuple(some[0]))
            connection.exec_driver_sql(into.insert, list(into.values(some)))


@cache
def _into(dialect_name: str, table: str, columns: tuple[str, ...]) -> _Into:
    """Word an insert once: to let the library do so, and to look at values, takes longer each time.

    By the bare table: nobody asks for the number of a row that the database numbers.
    """
    there, dialect = SQLModel.metadata.tables[table], _DIALECTS[dialect_name]
    worded = insert(there).inline().compile(dialect=dialect, column_keys=list(columns))
    assert isinstance(worded, SQLCompiler)  # noqa: S101 - what a statement is compiled to
    assert worded.positiontup is not None  # noqa: S101 - as the dialects above have it
    types = {column: there.c[column].type.dialect_impl(dialect) for column in worded.positiontup}
    kept = [(column, each.bind_processor(dialect)) for column, each in types.items()]
    return _Into(str(worded), kept)


def _copy(connection: Connection, table: str, rows: Sequence[Mapping[str, object]]) -> None:
    """Write rows by the driver: it sends an INSERT of many rows one by one."""
    into = _into(connection.dialect.name, table, tuple(rows[0]))
    statement = f"COPY {table} ({', '.join(column for column, _ in into.columns)}) FROM STDIN"
    driver: Any = connection.connection.driver_connection
    try:
        with driver.cursor() as cursor, cursor.copy(statement) as copy:
            for values in into.values(rows):
                copy.write_row(values)
    except psycopg.Error as error:
        raise DBAPIError.instance(
            statement, None, error, psycopg.Error, dialect=connection.dialect
        ) from error

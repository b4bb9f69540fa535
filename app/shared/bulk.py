"""Writing many rows at once, as each database takes them best."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache
from typing import Any, Final, NamedTuple

import psycopg
from sqlalchemy import ColumnDefault, Connection, Dialect, column, insert, table
from sqlalchemy.dialects import sqlite
from sqlalchemy.dialects.postgresql.psycopg import PGDialect_psycopg
from sqlalchemy.exc import DBAPIError
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
    columns: Sequence[str]
    """Those that the rows have, and after them those that have a value of their own."""
    as_kept: Sequence[tuple[str, Callable[[Any], Any] | None]]
    """Of what the rows have: what its type makes of a value for the database."""
    own: Sequence[Any]

    def values(self, rows: Iterable[Mapping[str, object]]) -> Iterator[tuple[Any, ...]]:
        for row in rows:
            yield (
                *[made(row[column]) if made else row[column] for column, made in self.as_kept],
                *self.own,
            )


def write_rows(connection: Connection, name: str, rows: Iterable[Mapping[str, object]]) -> None:
    """Write rows that have the same columns; triggers, keys and checks hold as they do for one."""
    for some in batched(rows, _AT_ONCE):
        if connection.dialect.name == "postgresql" and len(some) >= _WORTH_COPYING:
            _copy(connection, name, some)
        else:
            into = _into(connection.dialect.name, name, tuple(some[0]))
            connection.exec_driver_sql(into.insert, list(into.values(some)))


@cache
def _into(dialect_name: str, name: str, columns: tuple[str, ...]) -> _Into:
    """Word an insert once: to let the library do so, and to look at values, takes longer each time.

    The table is stripped of all it knows: nobody asks for the number that a row gets.
    """
    there, dialect = SQLModel.metadata.tables[name].c, _DIALECTS[dialect_name]
    own = {
        each.name: each.default.arg
        for each in there
        if isinstance(each.default, ColumnDefault) and each.name not in columns
    }
    whole = [*columns, *own]
    stripped = table(name, *(column(each, there[each].type) for each in whole))
    types = {each: there[each].type.dialect_impl(dialect) for each in whole}
    as_kept = {each: kind.bind_processor(dialect) for each, kind in types.items()}
    return _Into(
        str(insert(stripped).compile(dialect=dialect)),
        whole,
        [(each, as_kept[each]) for each in columns],
        tuple(made(own[each]) if (made := as_kept[each]) else own[each] for each in own),
    )


def _copy(connection: Connection, name: str, rows: Sequence[Mapping[str, object]]) -> None:
    """Write rows by the driver: it sends an INSERT of many rows one by one."""
    into = _into(connection.dialect.name, name, tuple(rows[0]))
    statement = f"COPY {name} ({', '.join(into.columns)}) FROM STDIN"
    driver: Any = connection.connection.driver_connection
    try:
        with driver.cursor() as cursor, cursor.copy(statement) as copy:
            for values in into.values(rows):
                copy.write_row(values)
    except psycopg.Error as error:
        raise DBAPIError.instance(
            statement, None, error, psycopg.Error, dialect=connection.dialect
        ) from error

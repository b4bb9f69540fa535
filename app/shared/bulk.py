"""Writing many rows at once, as each database takes them best."""

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import Any, Final

import psycopg
from sqlalchemy import Connection, Insert, insert
from sqlalchemy.exc import DBAPIError
from sqlmodel import SQLModel

from app.shared.db import batched

_AT_ONCE: Final = 5000
_WORTH_COPYING: Final = 50
"""From so many rows on COPY is the quicker: a round trip more, and next to nothing for a row."""


def write_rows(connection: Connection, table: str, rows: Iterable[Mapping[str, object]]) -> None:
    """Write rows that have the same columns; triggers, keys and checks hold as they do for one."""
    for some in batched(rows, _AT_ONCE):
        if connection.dialect.name == "postgresql" and len(some) >= _WORTH_COPYING:
            _copy(connection, table, some)
        else:
            connection.execute(_into(table), some)


@cache
def _into(table: str) -> Insert:
    # The bare table, not its class: an insert by class costs as much again in Python.
    # Nobody asks for the number of a row that the database numbers.
    return insert(SQLModel.metadata.tables[table]).inline()


def _copy(connection: Connection, table: str, rows: Sequence[Mapping[str, object]]) -> None:
    """Write rows by the driver: it sends an INSERT of many rows one by one."""
    columns = list(rows[0])
    types = [SQLModel.metadata.tables[table].c[column].type for column in columns]
    dialect = connection.dialect
    bound = [each.dialect_impl(dialect).bind_processor(dialect) for each in types]
    statement = f"COPY {table} ({', '.join(columns)}) FROM STDIN"
    driver: Any = connection.connection.driver_connection
    try:
        with driver.cursor() as cursor, cursor.copy(statement) as copy:
            for row in rows:
                copy.write_row([
                    as_kept(row[column]) if as_kept else row[column]
                    for column, as_kept in zip(columns, bound, strict=True)
                ])  # fmt: skip
    except psycopg.Error as error:
        raise DBAPIError.instance(statement, None, error, psycopg.Error, dialect=dialect) from error

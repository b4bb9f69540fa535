"""All rows of a book at any schema, whatever the models of today make of its tables."""

from datetime import UTC, datetime
from functools import cache
from tempfile import TemporaryDirectory
from typing import Any

from alembic.script import ScriptDirectory
from sqlalchemy import JSON, Engine, MetaData, Table, func, insert, inspect, select, text

from app.schema import migrate
from app.settings import project_folder
from app.shared.db import open_engine

STEPS = [
    script.revision
    for script in reversed(list(ScriptDirectory(project_folder("alembic")).walk_revisions()))
]
"""Every schema there ever was, the oldest first."""

Row = dict[str, Any]
Rows = dict[str, list[Row]]
"""Rows by table, in the order of their keys."""

Columns = dict[str, set[str]]
"""Names of columns by table."""


@cache
def newest_tables() -> list[Table]:
    """Read off a database which tables it has at the newest schema, what is referred to first.

    Reading it off takes as long as all the migrations, so it is done once and not of older schemas:
    no table and no column has ever gone.
    """
    found = MetaData()
    with TemporaryDirectory() as folder:
        engine = open_engine(f"sqlite:///{folder}/book.db")
        migrate(engine)
        found.reflect(engine)
        engine.dispose()
    for table in found.tables.values():
        for column in table.columns:
            column.type = column.type.as_generic()
            if isinstance(column.type, JSON):
                column.type = JSON(none_as_null=True)
    return [table for table in found.sorted_tables if table.name != "alembic_version"]


def columns_of(engine: Engine) -> Columns:
    """Read off a database which tables and columns it has now."""
    found = inspect(engine).get_multi_columns()
    columns = {name: {each["name"] for each in listed} for (_, name), listed in found.items()}
    return {name: listed for name, listed in columns.items() if name != "alembic_version"}


def read_rows(engine: Engine) -> Rows:
    """Read every row of every table there is; times are those of UTC."""
    there = columns_of(engine)
    with engine.connect() as connection:
        return {
            table.name: [
                {name: _of_utc(value) for name, value in row.items()}
                for row in connection.execute(
                    select(
                        *(each for each in table.columns if each.name in there[table.name])
                    ).order_by(*table.primary_key)
                ).mappings()
            ]
            for table in newest_tables()
            if table.name in there
        }


def _of_utc(value: object) -> object:
    if isinstance(value, datetime) and value.tzinfo:
        return value.astimezone(UTC).replace(tzinfo=None)
    return value


def insert_rows(engine: Engine, rows: Rows) -> None:
    """Insert rows, as the guards of the schema let a program do; its numbers go on after them."""
    with engine.begin() as connection:
        for table in newest_tables():
            if rows.get(table.name):
                connection.execute(insert(table), rows[table.name])
    if engine.dialect.name == "postgresql":
        _go_on_numbering(engine)


def _go_on_numbering(engine: Engine) -> None:
    numbered = [
        (table, column["name"])
        for (_, table), columns in inspect(engine).get_multi_columns().items()
        for column in columns
        if "nextval" in str(column["default"])
    ]
    tables = {table.name: table for table in newest_tables()}
    with engine.begin() as there:
        for name, column in numbered:
            last = there.scalar(select(func.max(tables[name].c[column])))
            there.execute(
                text("SELECT setval(pg_get_serial_sequence(:t, :c), :n, :used)"),
                {"t": f'"{name}"', "c": column, "n": last or 1, "used": last is not None},
            )

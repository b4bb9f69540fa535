"""All rows of a book at any schema, whatever the program of today knows of its tables."""

from datetime import UTC, datetime
from typing import Any

from alembic import command
from alembic.script import ScriptDirectory
from sqlalchemy import JSON, Engine, MetaData, func, insert, inspect, select, text

from app.revision import migrations
from app.settings import project_folder
from app.shared.db import writing

STEPS = [
    script.revision
    for script in reversed(list(ScriptDirectory(project_folder("alembic")).walk_revisions()))
]
"""Every schema there ever was, the oldest first."""

Row = dict[str, Any]
Rows = dict[str, list[Row]]
"""Rows by table, in the order of their keys."""


def bring_to(engine: Engine, revision: str) -> None:
    """Bring a database to a schema, as `migrate` brings it to the newest."""
    config = migrations()
    with writing(engine) as session:
        config.attributes["connection"] = session.connection()
        command.upgrade(config, revision)


def tables_of(engine: Engine) -> MetaData:
    """Read off the database which tables it has."""
    tables = MetaData()
    tables.reflect(engine)
    tables.remove(tables.tables["alembic_version"])
    for table in tables.tables.values():
        for column in table.columns:
            if isinstance(column.type, JSON):
                column.type = JSON(none_as_null=True)
    return tables


def read_rows(engine: Engine) -> Rows:
    """Read every row of every table; times are those of UTC."""
    with engine.connect() as connection:
        return {
            table.name: [
                {name: _of_utc(value) for name, value in row.items()}
                for row in connection.execute(select(table).order_by(*table.primary_key)).mappings()
            ]
            for table in tables_of(engine).sorted_tables
        }


def _of_utc(value: Any) -> Any:
    if isinstance(value, datetime) and value.tzinfo:
        return value.astimezone(UTC).replace(tzinfo=None)
    return value


def insert_rows(engine: Engine, rows: Rows) -> None:
    """Insert rows, as the guards of the schema let a program do; its numbers go on after them."""
    with engine.begin() as connection:
        for table in tables_of(engine).sorted_tables:
            if rows[table.name]:
                connection.execute(insert(table), rows[table.name])
    if engine.dialect.name == "postgresql":
        _go_on_numbering(engine)


def _go_on_numbering(engine: Engine) -> None:
    with engine.begin() as there:
        for table in tables_of(engine).sorted_tables:
            for column in inspect(there).get_columns(table.name):
                if "nextval" in str(column["default"]):
                    last = there.scalar(select(func.max(table.c[column["name"]]))) or 0
                    there.execute(
                        text("SELECT setval(pg_get_serial_sequence(:t, :c), :n, :used)"),
                        {"t": f'"{table.name}"', "c": column["name"], "n": max(last, 1),
                         "used": bool(last)},
                    )  # fmt: skip

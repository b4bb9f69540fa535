"""Tables whose rows are never changed and never lost: asking the database to do it all the same."""

from collections.abc import Collection
from typing import Any

from sqlalchemy import Engine, Executable, Row, Table, select, text
from sqlalchemy.exc import DBAPIError
from sqlmodel import SQLModel

from app.shared.db import reading

Rows = dict[str, list[Row[Any]]]
"""Every row of some tables, by table."""


def table_of(name: str) -> Table:
    return SQLModel.metadata.tables[name]


def refusal_of(engine: Engine, statement: Executable) -> str:
    """Run a statement as anybody with access to the database could; what it says if it refuses."""
    try:
        with engine.begin() as connection:
            connection.execute(statement)
    except DBAPIError as error:
        return str(error.orig)
    return "nothing was refused"


def rows_of(engine: Engine, tables: Collection[str]) -> Rows:
    """Read all that is in these tables."""
    with reading(engine) as session:
        return {
            name: sorted(session.execute(select(table_of(name))).all(), key=repr) for name in tables
        }


def unguard(engine: Engine) -> None:
    """Take the triggers away, as somebody could who has the database file or its owner's rights."""
    with engine.begin() as connection:
        if engine.dialect.name == "sqlite":
            names = connection.scalars(
                text("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            ).all()
            for name in names:
                connection.execute(text(f"DROP TRIGGER {name}"))
        else:
            for table in SQLModel.metadata.tables:
                connection.execute(text(f"ALTER TABLE {table} DISABLE TRIGGER USER"))


def refuse_changes(engine: Engine, records: Rows) -> None:
    """Check that no row can be changed or deleted."""
    for name in records:
        table = table_of(name)
        column = list(table.c)[-1]
        assert "append-only" in refusal_of(engine, table.update().values({column: column})), name
        assert "append-only" in refusal_of(engine, table.delete()), name
    assert rows_of(engine, records) == records


def refuse_emptying(engine: Engine, records: Rows) -> None:
    """Check that no table can be emptied; PostgreSQL alone could."""
    for name in records:
        assert "append-only" in refusal_of(engine, text(f"TRUNCATE {name} CASCADE")), name
    assert rows_of(engine, records) == records


def refuse_replacing(engine: Engine, records: Rows) -> None:
    """Check that no row can be replaced by inserting over it; SQLite alone could."""
    for name in records:
        over = table_of(name).insert().prefix_with("OR REPLACE")
        whole = over.from_select(list(table_of(name).c.keys()), select(table_of(name)))
        assert "append-only" in refusal_of(engine, whole), name
    assert rows_of(engine, records) == records


def accepted_of(engine: Engine, impossible: Collection[tuple[str, dict[str, Any]]]) -> list[Any]:
    """Try to insert rows that cannot be; those that were taken in."""
    return [
        (name, row)
        for name, row in impossible
        if refusal_of(engine, table_of(name).insert().values(row)) == "nothing was refused"
    ]

"""Bringing a database to the newest schema: once, twice, at once, and not back."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, inspect, text
from sqlalchemy.exc import DBAPIError

from app.revision import lag
from app.schema import metadata, migrate
from app.settings import project_folder
from app.shared.db import open_engine
from tests.serving import run_in_processes

SCRIPTS = ScriptDirectory(project_folder("alembic"))
PROCESSES = 3


def versions(engine: Engine) -> list[str]:
    with engine.connect() as connection:
        return list(connection.scalars(text("SELECT version_num FROM alembic_version")))


def stamp(engine: Engine, version: str) -> None:
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = :v"), {"v": version})


def test_the_migrations_make_the_tables_that_the_program_knows(engine: Engine) -> None:
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})

        assert compare_metadata(context, metadata()) == []


def test_every_check_of_the_models_is_in_the_migrated_tables(engine: Engine) -> None:
    # Alembic does not compare these.
    there = inspect(engine)
    for name, table in metadata().tables.items():
        wanted = {
            check.name for check in table.constraints if check.__visit_name__ == "check_constraint"
        }
        assert wanted <= {check["name"] for check in there.get_check_constraints(name)}, name


def test_migrating_again_changes_nothing(empty: Engine) -> None:
    migrate(empty)
    before = versions(empty)

    migrate(empty)

    assert versions(empty) == before == [SCRIPTS.get_current_head()]


def test_an_empty_a_current_an_older_and_a_newer_database_are_told_apart(empty: Engine) -> None:
    nothing = lag(empty)
    migrate(empty)
    current = lag(empty)
    stamp(empty, "0000_never")
    newer = lag(empty)

    assert nothing == "The database is empty; `jutebook migrate` makes its tables."
    assert current is None
    assert newer is not None
    assert "0000_never, newer than this program knows" in newer


def test_an_older_database_is_told_how_to_get_on(empty: Engine) -> None:
    migrate(empty)
    newest, *older = (script.revision for script in SCRIPTS.walk_revisions())

    for revision in older:
        stamp(empty, revision)
        said = lag(empty)

        assert said is not None
        assert f"is at schema {revision}, not {newest}; `jutebook migrate`" in said


def test_there_is_no_way_back(empty: Engine) -> None:
    # A book is append-only: a schema that could be taken back would take facts with it.
    assert [script.revision for script in SCRIPTS.walk_revisions()
            if hasattr(script.module, "downgrade")] == []  # fmt: skip
    assert lag(empty)


def test_a_migration_that_fails_leaves_nothing_behind(empty: Engine) -> None:
    with empty.begin() as connection:
        connection.execute(text("CREATE TABLE returned (id INTEGER)"))

    with pytest.raises(DBAPIError, match="returned"):
        migrate(empty)

    assert inspect(empty).get_table_names() == ["returned"]
    with empty.begin() as connection:
        connection.execute(text("DROP TABLE returned"))
    migrate(empty)
    assert lag(empty) is None


def bring_up(url: str) -> None:
    """Migrate as one process of several does."""
    engine = open_engine(url)
    migrate(engine)
    engine.dispose()


def test_processes_that_migrate_at_once_all_end_well(empty_url: str, empty: Engine) -> None:
    ended = run_in_processes(bring_up, empty_url, times=PROCESSES)

    assert ended == [0] * PROCESSES
    assert lag(empty) is None
    assert len(versions(empty)) == 1


def test_who_finds_a_new_file_in_other_hands_waits_for_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Another process is at its first write, so the file can be given no log yet.
    file = tmp_path / "new.db"
    with closing(sqlite3.connect(file, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        monkeypatch.setattr("app.shared.db.sleep", lambda _: other.execute("COMMIT"))
        engine = open_engine(f"sqlite:///{file}")
        with engine.connect() as connection:
            assert connection.scalar(text("PRAGMA journal_mode")) == "wal"
        engine.dispose()

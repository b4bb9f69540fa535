"""Which schema a database is at, and which one this program knows."""

from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine

from app.settings import project_folder
from app.shared.patience import hurried


def migrations() -> Config:
    """Say where the migrations are."""
    config = Config()
    config.set_main_option("script_location", str(project_folder("alembic")).replace("%", "%%"))
    return config


def lag(engine: Engine) -> str | None:
    """Say what the database lacks, or None when it is at the newest schema."""
    there, newest = _revision(engine), _scripts().get_current_head()
    if there == newest:
        return None
    if there is None:
        return "The database is empty; `jutebook migrate` makes its tables."
    if not _knows(there):
        return (
            f"The database is at schema {there}, newer than this program knows; "
            "install the newer Jutebook."
        )
    return f"The database is at schema {there}, not {newest}; `jutebook migrate` brings it there."


def is_newer(engine: Engine) -> bool:
    """Tell whether a newer program made the schema of the database: there is no way back."""
    there = _revision(engine)
    return there is not None and not _knows(there)


def _revision(engine: Engine) -> str | None:
    with engine.connect() as connection, hurried(connection):
        return MigrationContext.configure(connection).get_current_revision()


def _scripts() -> ScriptDirectory:
    return ScriptDirectory.from_config(migrations())


def _knows(revision: str) -> bool:
    return any(script.revision == revision for script in _scripts().walk_revisions())

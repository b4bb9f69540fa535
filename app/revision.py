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
    scripts = ScriptDirectory.from_config(migrations())
    newest = scripts.get_current_head()
    with engine.connect() as connection, hurried(connection):
        there = MigrationContext.configure(connection).get_current_revision()
    if there == newest:
        return None
    if there is None:
        return "The database is empty; `jutebook migrate` makes its tables."
    known = {script.revision for script in scripts.walk_revisions()}
    if there not in known:
        return (
            f"The database is at schema {there}, newer than this program knows; "
            "install the newer Jutebook."
        )
    return f"The database is at schema {there}, not {newest}; `jutebook migrate` brings it there."

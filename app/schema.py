"""The schema: every table of the book, and the migrations that bring a database to it."""

from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, MetaData
from sqlmodel import SQLModel

from alembic import command
from app.green import tables as green
from app.ledger import tables as ledger
from app.packing import tables as packing
from app.places import tables as places
from app.quality import tables as quality
from app.roasting import tables as roasting
from app.sending import tables as sending
from app.settings import project_folder
from app.shared import sign_in

TABLES = (sign_in, ledger, places, green, quality, roasting, packing, sending)
"""The modules whose import registers every table."""


def metadata() -> MetaData:
    """Name all tables."""
    return SQLModel.metadata


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(project_folder("alembic")).replace("%", "%%"))
    return config


def migrate(engine: Engine) -> None:
    """Bring a database to the newest schema, in one transaction."""
    config = _config()
    with engine.connect() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def lag(engine: Engine) -> str | None:
    """Say what the database lacks, or None when it is at the newest schema."""
    scripts = ScriptDirectory.from_config(_config())
    newest = scripts.get_current_head()
    with engine.connect() as connection:
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

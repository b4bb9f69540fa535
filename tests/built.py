"""The service with its routes, built on import: server processes are forked after that."""

import tempfile
from pathlib import Path

from app.main import create_app
from app.settings import Settings

_NOWHERE = Path(tempfile.gettempdir()) / "jutebook-never-opened.db"

SERVICE = create_app(Settings(database_url=f"sqlite:///{_NOWHERE}", _env_file=None))

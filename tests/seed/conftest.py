"""A second book beside the test's own, so that one play can be held against another."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine

from app.settings import Settings
from app.shared.db import open_engine


@pytest.fixture
def other_engine(sqlite_pattern: Path, tmp_path: Path) -> Iterator[Engine]:
    """A migrated and empty SQLite file of its own."""
    engine = open_engine(f"sqlite:///{shutil.copy(sqlite_pattern, tmp_path / 'other.db')}")
    yield engine
    engine.dispose()


@pytest.fixture
def house() -> Settings:
    """Settings nobody has touched."""
    return Settings(_env_file=None)

"""What the tests of upgrades with data share: one whole book for all of them."""

import shutil
from pathlib import Path

import pytest
from fastapi import FastAPI

from tests.ledger.older.rows import Rows, read_rows
from tests.ledger.older.whole_book import keep_whole_book


@pytest.fixture(scope="session")
def today(built: FastAPI, sqlite_pattern: Path, tmp_path_factory: pytest.TempPathFactory) -> Rows:
    """Every row of a book of today's program, made once."""
    file = shutil.copy(sqlite_pattern, tmp_path_factory.mktemp("whole") / "book.db")
    engine = keep_whole_book(built, f"sqlite:///{file}")
    rows = read_rows(engine)
    engine.dispose()
    return rows

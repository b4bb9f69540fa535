"""The administrator's page of backups: made, read back, noted, and asked for when there is none."""

import hashlib
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, select

from app.copies.files import alone_in
from app.copies.making import copying_of
from app.copies.tables import BookBackup
from app.settings import Settings
from app.shared.db import reading, writing
from app.shared.times import now
from tests.api import Api
from tests.makers import furnish, receive
from tests.web.conftest import Visitor, hidden_fields, words


@pytest.fixture
def folder(service: FastAPI, settings: Settings, tmp_path: Path) -> Path:
    """A folder for backups, which the settings name."""
    there = tmp_path / "backups"
    there.mkdir()
    service.state.settings = settings.model_copy(update={"backup_folder": there})
    return there


def note(engine: Engine, age: timedelta) -> None:
    """Note a backup as it was made so long ago."""
    with writing(engine) as session:
        session.add(BookBackup(
            made_at=now() - age, who="cron at the command line", file="nightly.backup",
            bytes=2_460_000, sha256="0" * 64, entries=1, differences=0,
        ))  # fmt: skip


def test_a_backup_is_made_at_the_page_read_back_noted_and_can_be_relied_on(
    api: Api, engine: Engine, folder: Path, visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
) -> None:  # fmt: skip
    furnish(api)
    receive(api, 60, 61, lot="LOT-1")
    ada = visitor_as("admin")

    with alone_in(folder):  # as somebody else's page or process would be
        at_once = ada.fill("/backups")
    made = ada.fill("/backups")
    statements()
    told = words(ada.get(made.headers["location"]))
    counted = statements()

    assert at_once.status_code == 409
    assert "A backup is being made right now." in words(at_once)
    assert made.status_code == 303
    (copy,) = folder.glob("*.backup")
    sha256 = hashlib.sha256(copy.read_bytes()).hexdigest()
    assert {each.name for each in folder.iterdir()} == {
        copy.name, f"{copy.name}.sha256", ".jutebook-lock",
    }  # fmt: skip
    assert copying_of(engine).verify(engine, copy).differs == []
    assert f"{copy.name} is made; the copy was read back and is whole." in told
    assert "The last one is less than an hour old." in told
    assert f"jutebook restore {copy.name}" in told
    with reading(engine) as session:
        (noted,) = session.scalars(select(BookBackup)).all()
    entries = len(api.get("/entries?limit=100")["items"])
    assert (noted.who, noted.entries, noted.differences) == ("admin", entries, 0)
    assert (noted.sha256, noted.bytes) == (sha256, copy.stat().st_size)
    assert sha256 in told
    assert counted <= 3


def test_what_keeps_a_backup_from_being_made_is_said_and_nothing_is_noted(
    service: FastAPI, settings: Settings, engine: Engine, folder: Path,
    visitor_as: Callable[..., Visitor],
) -> None:  # fmt: skip
    ada = visitor_as("admin")
    form = hidden_fields(ada.get("/backups").text)

    folder.rmdir()
    gone = ada.post("/backups", form)
    service.state.settings = settings
    unset = ada.post("/backups", form)
    page = words(ada.get("/backups"))

    assert (gone.status_code, unset.status_code) == (409, 409)
    assert f"There is no folder {folder}." in words(gone)
    assert "No folder for backups is set." in words(unset)
    assert "set JUTEBOOK_BACKUP_FOLDER where the service runs" in page
    assert "jutebook backup book-2026-03-31.backup" in page
    assert "None is on record. Nothing is booked yet." in page
    with reading(engine) as session:
        assert session.scalars(select(BookBackup)).all() == []


def test_a_book_without_a_recent_backup_is_pointed_out_to_administrators_unless_switched_off(
    api: Api, service: FastAPI, settings: Settings, engine: Engine,
    visitor_as: Callable[..., Visitor],
) -> None:  # fmt: skip
    ada, noor = visitor_as("admin"), visitor_as("warehouse", "buyer")
    api.post("/suppliers", {"name": "Finca El Roble"})

    young = words(ada.get("/"))
    note(engine, timedelta(days=9))
    old = [words(ada.get(path)) for path in ("/", "/health", "/backups")]
    for_noor = words(noor.get("/"))
    service.state.settings = settings.model_copy(update={"backup_hours": 0})
    switched_off = words(ada.get("/"))
    service.state.settings = settings
    note(engine, timedelta(hours=29))
    fresh = [words(ada.get(path)) for path in ("/", "/health", "/backups")]

    assert "without a backup" not in young
    assert "9 days without a backup" in old[0]
    assert "The last one is 9 days old." in old[1]
    assert "the book is to be backed up every 30 hours" in old[2]
    assert "without a backup" not in for_noor + switched_off + fresh[0]
    assert "The last one is 29 hours old." in fresh[1]
    assert "nightly.backup 1 2.4 cron at the command line" in fresh[2]
    assert "every 30 hours" not in fresh[2]
    form = hidden_fields(noor.get("/account").text)
    assert noor.get("/backups").status_code == 403
    assert noor.post("/backups", form).status_code == 403


def test_a_book_that_was_never_backed_up_counts_from_its_first_entry(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    ada = visitor_as("admin")
    nothing_booked = words(ada.get("/"))
    api.post("/suppliers", {"name": "Finca El Roble"})
    later = now() + timedelta(hours=49)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("app.copies.queries.now", lambda: later)
        patch.setattr("app.web.start.now", lambda: later)
        waiting = words(ada.get("/"))

    assert "without a backup" not in nothing_booked
    assert "2 days without a backup" in waiting

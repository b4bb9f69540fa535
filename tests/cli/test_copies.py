"""Backups: whole, of one moment, and never trusted unread."""

import csv
import hashlib
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import Engine, select, text
from sqlmodel import col

from app.copies.tables import BookBackup
from app.ledger.posting import Pen
from app.ledger.tables import Entry
from app.settings import Settings
from app.shared.db import open_engine, reading, writing
from tests.api import Api
from tests.cli.conftest import Jutebook
from tests.makers import furnish, pack, receive, roast, sack_codes


@pytest.fixture
def book(api: Api) -> list[str]:
    """A book with something of everything in it; names the sacks."""
    furnish(api)
    sacks = sack_codes(receive(api, 60, 61, lot="LOT-1"))
    roast(api, {sacks[0]: 30}, 25, code="ROAST-1")
    pack(api, {"ROAST-1": 20}, 80, code="PACK-1")
    return sacks


def seals(url: str) -> list[str]:
    engine = open_engine(url)
    with reading(engine) as session:
        found = session.scalars(select(col(Entry.sha256)).order_by(col(Entry.id))).all()
    engine.dispose()
    return list(found)


@contextmanager
def somebody_writing(engine: Engine, settings: Settings) -> Iterator[threading.Event]:
    """Let somebody book one entry after the other; the event is set when the first is in."""
    begun, enough = threading.Event(), threading.Event()

    def write() -> None:
        while not enough.is_set():
            with writing(engine) as session:
                Pen(session, "scanner", settings).note("reading", {"value": 1})
            begun.set()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        yield begun
    finally:
        enough.set()
        writer.join()


def tables(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.iterdir()}


@pytest.mark.usefixtures("book")
def test_a_backup_restored_elsewhere_is_the_same_book_to_the_last_row(
    jutebook: Jutebook, empty_url: str, desk: Path
) -> None:
    copied = jutebook("backup", "book.backup")
    restored = jutebook("restore", "book.backup", database=empty_url)

    assert (copied.exit_code, restored.exit_code) == (0, 0), copied.output + restored.output
    assert "units are sound." in copied.stdout
    assert "units are sound." in restored.stdout
    jutebook("export", "all", "here")
    jutebook("export", "all", "there", database=empty_url)
    here, there = tables(desk / "here"), tables(desk / "there")
    # A copy is noted once it is there, so it cannot hold its own note; nothing else is missing.
    assert {name for name in here if here[name] != there[name]} == {"book_backup.csv"}
    (note,) = csv.DictReader(here["book_backup.csv"].decode().splitlines())
    assert there["book_backup.csv"].decode().splitlines() == [",".join(note)]
    copy = desk / "book.backup"
    seal = copy.with_name("book.backup.sha256").read_text().split()[0]
    assert note["sha256"] == seal == hashlib.sha256(copy.read_bytes()).hexdigest()
    assert (note["file"], int(note["bytes"])) == ("book.backup", copy.stat().st_size)
    assert int(note["entries"]) == len(here["entry.csv"].decode().splitlines()) - 1
    assert note["who"].endswith("at the command line")


@pytest.mark.usefixtures("book")
def test_a_restored_book_is_guarded_and_goes_on(
    jutebook: Jutebook, empty_url: str, settings: Settings
) -> None:
    jutebook("backup", "book.backup")
    jutebook("restore", "book.backup", database=empty_url)
    engine = open_engine(empty_url)

    with pytest.raises(Exception, match="append-only"), writing(engine) as session:
        session.execute(text("DELETE FROM entry"))
    with writing(engine) as session:
        Pen(session, "scanner", settings).note("reading", {"value": 1})

    engine.dispose()
    assert jutebook("check", database=empty_url).exit_code == 0


@pytest.mark.usefixtures("book")
def test_a_backup_made_while_somebody_writes_is_the_book_of_one_moment(
    jutebook: Jutebook, engine: Engine, settings: Settings, database_url: str, empty_url: str
) -> None:
    with somebody_writing(engine, settings) as begun:
        begun.wait()
        acknowledged = seals(database_url)
        copied = jutebook("backup", "book.backup")

    restored = jutebook("restore", "book.backup", database=empty_url)

    assert (copied.exit_code, restored.exit_code) == (0, 0), copied.output + restored.output
    before, now = seals(empty_url), seals(database_url)
    assert len(acknowledged) > 0
    assert before[: len(acknowledged)] == acknowledged
    assert now[: len(before)] == before


def test_a_book_is_restored_under_a_running_service(
    book: list[str], api: Api, jutebook: Jutebook, book_is_sound: Callable[[], None]
) -> None:
    jutebook("backup", "book.backup")
    api.post("/units/PACK-1/void", {"reason": "mistaken"})

    refused = jutebook("restore", "book.backup")
    restored = jutebook("restore", "book.backup", "--force")

    assert refused.exit_code == 1
    assert "Restore into an empty one, or say --force" in refused.stderr
    assert restored.exit_code == 0, restored.output
    assert api.get("/units/PACK-1")["voided"] is False
    roast(api, {book[1]: 30}, 25)
    book_is_sound()


def damage(file: Path) -> None:
    whole = bytearray(file.read_bytes())
    whole[len(whole) // 2] ^= 0x01
    file.write_bytes(whole)


def cut_short(file: Path) -> None:
    whole = file.read_bytes()
    file.write_bytes(whole[: len(whole) * 2 // 3])


def cut_short_without_its_checksum(file: Path) -> None:
    cut_short(file)
    file.with_name("book.backup.sha256").unlink()


@pytest.mark.usefixtures("book")
@pytest.mark.parametrize("harm", [damage, cut_short, cut_short_without_its_checksum])
def test_a_damaged_backup_is_refused_and_nothing_changes(
    jutebook: Jutebook, database_url: str, desk: Path, harm: Callable[[Path], None]
) -> None:
    jutebook("backup", "book.backup")
    before = seals(database_url)
    harm(desk / "book.backup")

    refused = jutebook("restore", "book.backup", "--force")

    assert refused.exit_code == 1
    assert "book.backup is damaged" in refused.stderr
    assert "Nothing was changed." in refused.stderr
    assert seals(database_url) == before


def test_a_file_that_is_no_backup_of_this_kind_of_book_is_refused(
    jutebook: Jutebook, desk: Path
) -> None:
    (desk / "notes.txt").write_text("no backup")

    other = jutebook("restore", "notes.txt")
    missing = jutebook("restore", "missing.backup")
    nowhere = jutebook("backup", "no/such/folder/book.backup")

    assert (other.exit_code, missing.exit_code, nowhere.exit_code) == (1, 1, 1)
    assert nowhere.stderr == "jutebook: There is no folder no/such/folder.\n"
    assert "notes.txt is no backup of a" in other.stderr
    assert missing.stderr == "jutebook: missing.backup: No such file or directory.\n"


def test_a_backup_is_not_written_over_another_unasked(jutebook: Jutebook, desk: Path) -> None:
    (desk / "book.backup").write_text("last year's")

    refused = jutebook("backup", "book.backup")
    kept = (desk / "book.backup").read_text()
    forced = jutebook("backup", "book.backup", "--force")

    assert (refused.exit_code, forced.exit_code) == (1, 0)
    assert "is there already" in refused.stderr
    assert kept == "last year's"
    assert jutebook("restore", "book.backup").exit_code == 0


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)  # a book that is a file
def test_the_book_itself_is_no_place_for_its_backup(jutebook: Jutebook, desk: Path) -> None:
    before = (desk / "book.db").read_bytes()

    copied = jutebook("backup", "book.db", "--force")
    restored = jutebook("restore", "book.db", "--force")

    assert (copied.exit_code, restored.exit_code) == (1, 1)
    assert copied.stderr == "jutebook: book.db is the book itself; name another file.\n"
    assert (desk / "book.db").read_bytes() == before


def test_a_backup_is_for_its_owner_alone_and_leaves_nothing_else_behind(
    jutebook: Jutebook, desk: Path
) -> None:
    jutebook("backup", "book.backup")

    assert (desk / "book.backup").stat().st_mode & 0o077 == 0
    made = {path.name for path in desk.iterdir() if not path.name.startswith("book.db")}
    assert made == {"book.backup", "book.backup.sha256"}


@pytest.mark.usefixtures("book")
def test_a_book_that_is_not_sound_is_backed_up_as_it_is_and_said_to_be_so(
    jutebook: Jutebook, engine: Engine, empty_url: str
) -> None:
    with writing(engine) as session:
        session.execute(text("UPDATE unit SET left_g = left_g - 1 WHERE code = 'ROAST-1'"))

    copied = jutebook("backup", "book.backup")
    restored = jutebook("restore", "book.backup", "--force", database=empty_url)

    assert (copied.exit_code, restored.exit_code) == (1, 1)
    assert "unit ROAST-1 has 4999 g left" in copied.stderr
    assert "unit ROAST-1 has 4999 g left" in restored.stderr
    with reading(engine) as session:
        assert session.scalars(select(col(BookBackup.differences))).one() > 0


def test_a_database_without_a_book_is_not_backed_up(
    jutebook: Jutebook, empty_url: str, desk: Path
) -> None:
    refused = jutebook("backup", "book.backup", database=empty_url)

    assert refused.exit_code == 1
    assert "`jutebook migrate`" in refused.stderr
    assert not (desk / "book.backup").exists()

"""Photos of exceptions: what they are by their own bytes, kept and served to the byte."""

import csv
import hashlib
import struct
import zlib
from collections.abc import Callable
from functools import partial
from io import BytesIO
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from PIL import Image
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError
from typer.testing import CliRunner, Result

from app.cli import cli
from app.main import open_book
from app.settings import Settings
from app.shared.db import reading, writing
from tests.api import Api, problem
from tests.green.arrivals.contracted import four_sacks, picture
from tests.postgres import PostgresServer
from tests.serving import Wire, at_once

PHOTOS = "/exceptions/1/photos"
MEDIA_TYPES = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}


@pytest.fixture
def torn(api: Api) -> dict[str, Any]:
    """An exception of a lot that waits for its photos."""
    four_sacks(api)
    made: dict[str, Any] = api.post("/lots/GL-1/exceptions", {"kind": "torn", "sacks": 1})
    return made


def send(api: Api, content: bytes, media_type: str = "image/png", **more: str) -> httpx.Response:
    return api.send("POST", PHOTOS, content, content_type=media_type, **more)


def stored(engine: Engine) -> list[Any]:
    with reading(engine) as session:
        return list(session.execute(text("SELECT content, sha256 FROM arrival_photo ORDER BY id")))


def a_huge_png(width: int, height: int) -> bytes:
    """Write a PNG of one colour without ever unpacking it."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(kind + data))
        return struct.pack(">I", len(data)) + kind + data + check

    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    rows = zlib.compress(b"\0" * ((width + 7) // 8 + 1) * height)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


@pytest.mark.parametrize("kind", MEDIA_TYPES)
@pytest.mark.usefixtures("torn")
def test_a_photo_is_kept_and_served_to_the_byte(
    api: Api, kind: str, engine: Engine, book_is_sound: Callable[[], None]
) -> None:
    taken = picture(kind)

    kept = send(api, taken, MEDIA_TYPES[kind]).json()

    digest = hashlib.sha256(taken).hexdigest()
    assert (kept["exception"], kept["media_type"]) == (1, MEDIA_TYPES[kind])
    assert (kept["width"], kept["height"], kept["size_bytes"]) == (8, 6, len(taken))
    assert kept["sha256"] == digest
    shown = api.send("GET", f"/photos/{kept['id']}")
    assert shown.content == taken
    assert shown.headers["content-type"] == MEDIA_TYPES[kind]
    assert shown.headers["x-content-type-options"] == "nosniff"
    assert shown.headers["content-security-policy"] == "default-src 'none'; sandbox"
    assert shown.headers["cache-control"] == "private"
    ending = {"JPEG": "jpg", "PNG": "png", "WEBP": "webp"}[kind]
    assert shown.headers["content-disposition"] == f'inline; filename="photo-1.{ending}"'
    assert shown.headers["etag"] == f'"{digest}"'
    assert api.get("/lots/GL-1/exceptions")["items"][0]["photos"] == [kept["id"]]
    with reading(engine) as session:
        facts = session.scalar(text("SELECT facts FROM entry WHERE kind = 'photo'"))
    assert facts is not None
    assert digest in facts
    book_is_sound()


@pytest.mark.usefixtures("torn")
def test_a_photo_that_is_held_already_is_not_sent_again(api: Api) -> None:
    send(api, picture())
    tag = api.send("GET", "/photos/1").headers["etag"]

    again = api.send("GET", "/photos/1", If_None_Match=f'W/{tag}, "other"')
    other = api.send("GET", "/photos/1", If_None_Match='"other"')

    assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
    assert other.status_code == 200


@pytest.mark.usefixtures("torn")
def test_what_the_camera_wrote_into_a_photo_stays_in_it(api: Api) -> None:
    # Kept as evidence, place and all: a picture written anew is not the one that was taken.
    file = BytesIO()
    seen = Image.new("RGB", (8, 6))
    exif = Image.Exif()
    exif[0x010F] = "Brackwater camera"
    seen.save(file, "JPEG", exif=exif)

    send(api, file.getvalue(), "image/jpeg")

    assert api.send("GET", "/photos/1").content == file.getvalue()


@pytest.mark.usefixtures("torn")
def test_a_phone_s_jpeg_with_further_pictures_behind_it_is_a_jpeg(api: Api) -> None:
    file = BytesIO()
    first, second = Image.new("RGB", (8, 6), "brown"), Image.new("RGB", (8, 6), "white")
    first.save(file, "MPO", save_all=True, append_images=[second])

    kept = send(api, file.getvalue(), "image/jpeg")

    assert kept.status_code == 201
    assert kept.json()["media_type"] == "image/jpeg"


@pytest.mark.parametrize(
    ("content", "media_type", "expected"),
    [
        (picture("PNG"), "image/jpeg", (415, "is said to be image/jpeg and is image/png")),
        (picture("JPEG"), "image/png", (415, "is said to be image/png and is image/jpeg")),
        (picture("PNG"), "text/html", (415, "The body is text/html")),
        (picture("PNG"), "image/svg+xml", (415, "The body is image/svg+xml")),
        (picture("GIF"), "image/gif", (415, "The body is image/gif")),
        (picture("GIF"), "image/png", (415, "no picture that is read here")),
        (b"<svg onload='alert(1)'/>", "image/png", (415, "no picture that is read here")),
        (b"", "image/png", (415, "its 0 bytes are no picture")),
        (picture("PNG", size=(64, 64))[:-40], "image/png", (422, "damaged")),
        (picture("JPEG", size=(64, 64))[:-40], "image/jpeg", (422, "damaged")),
        (b"\x89PNG\r\n\x1a\n", "image/png", (415, "no picture")),
    ],
)
@pytest.mark.usefixtures("torn")
def test_what_is_not_the_picture_it_says_is_refused_and_nothing_is_stored(
    api: Api, engine: Engine, content: bytes, media_type: str, expected: tuple[int, str]
) -> None:
    status, said = expected
    before = api.get("/entries?limit=500")

    answer = send(api, content, media_type)

    slug = "unsupported-media-type" if status == 415 else "invalid"
    assert said in problem(answer, status, slug)["detail"]
    assert stored(engine) == []
    assert api.get("/entries?limit=500") == before


@pytest.mark.usefixtures("torn")
def test_a_picture_that_moves_is_no_photo(api: Api) -> None:
    for kind in ("PNG", "WEBP"):
        file = BytesIO()
        first, second = Image.new("RGB", (8, 6), "brown"), Image.new("RGB", (8, 6), "white")
        first.save(file, kind, save_all=True, append_images=[second])

        refused = problem(send(api, file.getvalue(), MEDIA_TYPES[kind]), 422, "invalid")

        assert "moves" in refused["detail"]


@pytest.mark.parametrize(("width", "height"), [(7072, 7072), (12_000, 12_000), (30_000, 30_000)])
@pytest.mark.usefixtures("torn")
def test_a_small_file_that_hides_a_huge_picture_is_not_unpacked(
    api: Api, width: int, height: int
) -> None:
    bomb = a_huge_png(width, height)
    assert len(bomb) < 200_000

    refused = problem(send(api, bomb), 422, "invalid")

    assert refused["most_pixels"] == 50_000_000
    assert "pixels; 50000000 are the most" in refused["detail"]


@pytest.fixture
def tight(service: FastAPI, database_url: str) -> Settings:
    """A roastery that takes two small photos of an exception."""
    settings = Settings(
        database_url=database_url, hold_on_arrival=False, photo_largest_bytes=10_000,
        photo_most_pixels=10_000, photos_most=2, _env_file=None,
    )  # fmt: skip
    service.state.engine.dispose()
    open_book(service, settings)
    return settings


@pytest.mark.usefixtures("tight", "torn")
def test_the_largest_photo_is_taken_and_a_byte_more_is_not(api: Api) -> None:
    taken = picture()
    largest = taken + bytes(10_000 - len(taken))  # what follows a PNG belongs to nothing

    over = send(api, largest + b"\0")
    without_length = api.send("POST", PHOTOS, largest + b"\0", content_type="image/png",
                              content_length="1")  # fmt: skip
    kept = send(api, largest)

    assert "at most 10000 bytes; this one has 10001 bytes" in problem(
        over, 413, "too-large")["detail"]  # fmt: skip
    assert problem(without_length, 413, "too-large")["most_bytes"] == 10_000
    assert kept.status_code == 201


@pytest.mark.usefixtures("tight", "torn")
def test_the_most_pixels_are_taken_and_a_row_more_is_not(api: Api) -> None:
    assert send(api, picture(size=(100, 100))).status_code == 201
    problem(send(api, picture(size=(100, 101))), 422, "invalid")


@pytest.mark.usefixtures("tight", "torn")
def test_an_exception_has_no_more_photos_than_the_setting_says(api: Api, engine: Engine) -> None:
    for colour in ("brown", "white"):
        assert send(api, picture(colour=colour)).status_code == 201

    refused = problem(send(api, picture(colour="black")), 422, "invalid")

    assert "has 2 photos, which is the most" in refused["detail"]
    assert len(stored(engine)) == 2


@pytest.mark.usefixtures("torn")
def test_the_very_picture_is_not_taken_twice(api: Api, engine: Engine) -> None:
    send(api, picture())

    refused = problem(send(api, picture()), 409, "already-done")

    assert refused["photo"] == 1
    assert len(stored(engine)) == 1


@pytest.mark.usefixtures("torn")
def test_a_photo_that_is_sent_again_is_kept_once_and_the_key_belongs_to_it(
    api: Api, engine: Engine
) -> None:
    first = send(api, picture(), Idempotency_Key="snap-1")

    again = send(api, picture(), Idempotency_Key="snap-1")
    other = send(api, picture(colour="white"), Idempotency_Key="snap-1")

    assert (again.status_code, again.content) == (201, first.content)
    assert again.headers["idempotency-replayed"] == "true"
    problem(other, 422, "idempotency-key-reused")
    assert len(stored(engine)) == 1


@pytest.mark.usefixtures("torn")
def test_people_who_send_one_photo_at_once_send_it_once(
    wire: Wire, engine: Engine, api: Api
) -> None:
    taken = picture()
    post = partial(wire._client.post, PHOTOS, content=taken, headers={"Content-Type": "image/png"})

    answers = at_once([post] * 4)

    assert sorted(answer.status_code for answer in answers) == [201, 409, 409, 409]
    assert len(stored(engine)) == 1
    assert api.send("GET", "/photos/1").content == taken


def test_a_photo_needs_an_exception_of_a_lot_that_stands(
    api: Api, torn: dict[str, Any], api_as: Callable[..., Api]
) -> None:
    del torn
    problem(
        api.send("POST", "/exceptions/9/photos", picture(), content_type="image/png"),
        404, "not-found",
    )  # fmt: skip
    problem(api.send("GET", "/photos/1"), 404, "not-found")
    problem(send(api_as("roaster"), picture()), 403, "forbidden")
    api.post("/units/GL-1/void", {"reason": "entered twice"})
    problem(send(api, picture()), 409, "voided")


@pytest.mark.usefixtures("torn")
def test_nothing_found_on_arrival_can_be_changed_or_deleted(api: Api, engine: Engine) -> None:
    code = api.get("/deliveries")["items"][0]["code"]
    sack = api.get("/sacks")["items"][0]["code"]
    api.post("/lots/GL-1/exceptions", {"kind": "wet", "codes": [sack]})
    send(api, picture())
    api.post("/lots/GL-1/arrival-counts", {"invoiced": 4, "sound": 4})
    api.post("/lots/GL-1/arrival-weights", {})
    api.post("/lots/GL-1/inspections", {
        "musty_smell": False, "foreign_smell": False, "live_insects": False, "wet_marks": False,
        "mould": False,
    })  # fmt: skip
    api.post(f"/deliveries/{code}/close", {})
    columns = {
        "arrival_count": "sound", "arrival_weight": "landed_g", "arrival_inspection": "note",
        "arrival_exception": "sacks", "arrival_exception_sack": "sack_id",
        "arrival_photo": "sha256", "receipt_close": "note",
    }  # fmt: skip

    for table, column in columns.items():
        changes = f"UPDATE {table} SET {column} = NULL"  # noqa: S608 - our own names
        deletes = f"DELETE FROM {table}"  # noqa: S608 - our own names
        for statement in (changes, deletes):
            with pytest.raises(DBAPIError, match="append-only"), writing(engine) as session:
                session.execute(text(statement))


# Copies.

Jutebook = Callable[..., Result]


@pytest.fixture
def jutebook(
    database_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., Result]:
    """Type a command about the test's own book, in a folder of its own."""
    desk = tmp_path / "desk"
    desk.mkdir()
    monkeypatch.chdir(desk)

    def run(*words: str, database: str = database_url) -> Result:
        return CliRunner().invoke(cli, list(words), env={"JUTEBOOK_DATABASE_URL": database})

    return run


@pytest.mark.usefixtures("torn")
def test_an_export_has_each_photo_as_a_file_that_its_table_names(
    api: Api, jutebook: Jutebook
) -> None:
    photos = [picture("JPEG"), picture("PNG", colour="white")]
    for taken, kind in zip(photos, ("image/jpeg", "image/png"), strict=True):
        send(api, taken, kind)

    done = jutebook("export", "all", "out")

    assert done.exit_code == 0, done.output
    with Path("out/arrival_photo.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file, strict=True))
    assert [row["content"] for row in rows] == ["arrival_photo/1.jpg", "arrival_photo/2.png"]
    assert [(Path("out") / row["content"]).read_bytes() for row in rows] == photos
    assert [row["sha256"] for row in rows] == [hashlib.sha256(each).hexdigest() for each in photos]


@pytest.mark.usefixtures("torn")
def test_a_backup_brings_photos_back_to_the_byte(
    api: Api, jutebook: Jutebook, database_url: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    send(api, picture())
    if database_url.startswith("sqlite"):
        elsewhere = f"sqlite:///{tmp_path / 'elsewhere.db'}"
    else:
        server: PostgresServer = request.getfixturevalue("postgres_server")
        name = f"elsewhere_{tmp_path.name}".lower().replace("-", "_")[:60]
        server.create_database(name)
        request.addfinalizer(partial(server.drop_database, name))
        elsewhere = server.url(name)

    copied = jutebook("backup", "book.backup")
    restored = jutebook("restore", "book.backup", database=elsewhere)
    jutebook("export", "all", "out", database=elsewhere)

    assert (copied.exit_code, restored.exit_code) == (0, 0), copied.output + restored.output
    assert Path("out/arrival_photo/1.png").read_bytes() == picture()

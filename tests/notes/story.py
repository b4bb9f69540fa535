"""Telling the story of the notes: every example in order, on one book."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
from fastapi import FastAPI

from app.shared.answers import read_json
from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api
from tests.notes.pages import FOLDER, Example, examples, page_names

STAFF = {
    "Noor": Role.WAREHOUSE,
    "Tomasz": Role.ROASTER,
    "Ilse": Role.QUALITY,
    "Bea": Role.BUYER,
    "Ada": Role.ADMIN,
}
"""Who works at the roastery of the notes."""

ANYTHING = "…"
"""Stands on a page for what differs from run to run, and for the rest of a long list."""

READS_BY_POST = frozenset(
    {"/api/v1/cover/what-if", "/api/v1/epcis/proposals", "/api/v1/scans", "/api/v1/trace"}
)
"""What is asked by POST and books nothing, so that its usual status is 200."""

_SAME_HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class Told:
    """An example and what the service answered to it."""

    example: Example
    answer: httpx.Response

    @property
    def body(self) -> Any:
        """The answer as JSON; None where there is none."""
        said = self.answer.headers.get("content-type", "")
        return read_json(self.answer.content) if is_json(said) else None

    @property
    def path(self) -> str:
        """The path asked for, without its query."""
        return self.example.request.first_line.split(" ")[1].partition("?")[0]

    @property
    def method(self) -> str:
        return self.example.request.first_line.split(" ")[0]

    def differences(self) -> list[str]:
        """Say where the answer is not the one on the page."""
        expected = self.example.answer
        status = expected.status or self._usual_status()
        found = []
        if self.answer.status_code != status:
            found.append(f"status: {self.answer.status_code}, not {status}")
        for name, value in expected.headers.items():
            if value not in {ANYTHING, self.answer.headers.get(name)}:
                found.append(f"{name}: {self.answer.headers.get(name)}, not {value}")
        return found + list(differences(expected.body, self.body, "#"))

    def _usual_status(self) -> int:
        """A page states the status where it is not the usual one of the method."""
        body = self.example.answer.body
        if isinstance(body, dict) and str(body.get("type", "")).startswith("/problems/"):
            return int(body["status"])
        return 201 if self.method == "POST" and self.path not in READS_BY_POST else 200


def is_json(media_type: str) -> bool:
    """Tell one JSON text from JSON texts a line, and from all that is none."""
    return media_type.endswith("json") and not media_type.endswith("ndjson")


def tell(service: FastAPI, *, reads: bool = True) -> Iterator[Told]:
    """Send every example of every page in the order of the story, perhaps without what only reads.

    Without it the book that comes of it is the same, in a fifth of the time.
    """
    with writing(service.state.engine) as session:
        tokens = {name: add_token(session, name, [role]) for name, role in STAFF.items()}
    api = Api(service, None)
    for page in page_names():
        text = (FOLDER / page).read_text(encoding="utf-8")
        for example in examples(page, text):
            if reads or not example.request.first_line.startswith("GET "):
                yield Told(example, _send(api, example, tokens))
    api.close()


def _send(api: Api, example: Example, tokens: dict[str, str]) -> httpx.Response:
    method, path = example.request.first_line.split(" ")
    headers = {
        name.replace("-", "_").lower(): re.sub(
            r"<(\w+)'s token>", lambda whose: tokens[whose[1]], value
        )
        for name, value in example.request.headers.items()
    }
    return api.send(method, path, example.request.body, **headers)


def differences(expected: Any, found: Any, where: str) -> Iterator[str]:
    """Compare what a page says with what came, but for what the page leaves open."""
    if expected == ANYTHING:
        return
    if isinstance(expected, dict) and isinstance(found, dict):
        for name in expected.keys() | found.keys():
            if name not in found:
                yield f"{where}/{name} is not answered"
            elif name not in expected:
                yield f"{where}/{name} is not on the page: {found[name]!r}"
            else:
                yield from differences(expected[name], found[name], f"{where}/{name}")
    elif isinstance(expected, list) and isinstance(found, list):
        yield from _list_differences(expected, found, where)
    elif expected != found or isinstance(expected, bool) is not isinstance(found, bool):
        yield f"{where} is {found!r}, not {expected!r}"


def _list_differences(expected: list[Any], found: list[Any], where: str) -> Iterator[str]:
    shown = expected[:-1] if expected and expected[-1] == ANYTHING else expected
    if len(found) < len(shown) or (shown is expected and len(found) > len(shown)):
        yield f"{where} has {len(found)} members, not {len(shown)}"
    for number, (page, answer) in enumerate(zip(shown, found, strict=False)):
        yield from differences(page, answer, f"{where}/{number}")


def as_on_page(page: Any, found: Any) -> Any:
    """Write an answer as the page should show it, leaving open what the page left open."""
    if page == ANYTHING or _passes_by(found):
        return ANYTHING
    if isinstance(found, dict):
        known = page if isinstance(page, dict) else {}
        return {name: as_on_page(known.get(name), value) for name, value in found.items()}
    if isinstance(found, list):
        known_items = page if isinstance(page, list) else []
        if known_items and known_items[-1] == ANYTHING:
            shown = found[: len(known_items) - 1]
            return [*map(as_on_page, known_items, shown), ANYTHING]
        padded = known_items + [None] * len(found)
        return [as_on_page(old, new) for old, new in zip(padded, found, strict=False)]
    return found


def _passes_by(value: object) -> bool:
    """Tell a hash and a time that was read off the clock just now."""
    if not isinstance(value, str):
        return False
    if re.fullmatch(r"[0-9a-f]{64}", value):
        return True
    if not re.fullmatch(r"\d{4}-\d\d-\d\dT[\d:.]+Z", value):
        return False
    return abs(datetime.now(UTC) - datetime.fromisoformat(value)) < _SAME_HOUR

"""The database is gone, its hot standby is there: everything that only reads is still answered.

A recall does not wait for a server to come back. What would be written is told to come again.
"""

import json
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from app.main import create_app
from app.shared.times import now
from seed import play
from tests.api import Api, problem
from tests.faults.pair import Pair
from tests.web.conftest import Visitor, enter_person, hidden_fields, words
from tests.web.every_page import book_the_rest, opened_with

_PAPERS = (
    "/trace/{lot}?direction=forward", "/trace/{pack}?direction=backward",
    "/trace/{lot}/flow?direction=forward", "/units/{sack}", "/cover/orders",
    "/recalls/{case}", "/recalls/{case}/reconciliation", "/recalls/{case}/log",
    "/mass-balance/{lot}",
)  # fmt: skip
"""Answers that say the same before and after, as nothing was booked between."""
_FILES = ("/recalls/{case}/report.pdf", "/recalls/{case}/report.xlsx", "/recalls/{case}/report.zip")


@dataclass
class LeftAlone:
    """A service whose database was stopped, with what it had answered before."""

    service: FastAPI
    api: Api
    pages: Visitor
    codes: dict[str, Any]
    before: dict[str, object]
    form: dict[str, str]
    """What a form carried that was opened before."""


@pytest.fixture(scope="module")
def left_alone() -> Iterator[LeftAlone]:
    """Play some days of a roastery, sign in, and stop the database when the standby has it all."""
    with ExitStack() as stack:
        pair = Pair(stack)
        service = create_app(pair.settings)
        api = Api(service, pair.token)
        stack.callback(api.close)
        yesterday = (now() - timedelta(days=1)).date()
        played = play(service.state.engine, pair.settings, last_day=yesterday, days=5)
        codes = book_the_rest(api, played)
        pages = stack.enter_context(Visitor(service))
        assert pages.sign_in(enter_person(service, "Ada", "admin")).status_code == 303
        form = hidden_fields(pages.get("/adjust").text)
        before = {path: api.get(path.format(**codes)) for path in _PAPERS}
        # A stop waits until the standby has received everything.
        pair.primary.stop()
        yield LeftAlone(service, api, pages, codes, before, form)


def test_traces_and_reports_say_what_they_said(left_alone: LeftAlone) -> None:
    now_told = {path: left_alone.api.get(path.format(**left_alone.codes)) for path in _PAPERS}
    files = [left_alone.api.send("GET", path.format(**left_alone.codes)) for path in _FILES]
    supposed = left_alone.api.post("/cover/what-if", {"fails": [left_alone.codes["lot"]]})

    assert now_told == left_alone.before
    assert [each.status_code for each in files] == [200] * len(files)
    assert files[0].content.startswith(b"%PDF")
    assert "items" in supposed


def test_everything_that_can_be_asked_without_a_code_is_answered(left_alone: LeftAlone) -> None:
    described = left_alone.api.get("/api/openapi.json")["paths"]
    asked = [path for path, does in described.items() if "get" in does and "{" not in path]
    answers = {path: left_alone.api.send("GET", path).status_code for path in asked}
    # It says whether the service can be written to, and some things are asked with a parameter.
    assert answers.pop("/readyz") == 503

    assert len(answers) > 50
    assert {path: status for path, status in answers.items() if status not in {200, 422}} == {}


def test_every_page_is_shown(left_alone: LeftAlone) -> None:
    shown = {
        address: left_alone.pages.get(address).status_code
        for _, address in opened_with(left_alone.codes)
    }

    assert {address: status for address, status in shown.items() if status >= 400} == {}
    health = words(left_alone.pages.get("/health"))
    assert "Nothing is booked until it does" in health
    assert "entries behind" not in health


def _told_to_come_again(answer: httpx.Response) -> None:
    assert answer.status_code == 503, answer.text
    assert int(answer.headers["retry-after"]) > 0


def test_whatever_writes_is_told_to_come_again(left_alone: LeftAlone) -> None:
    api, pages = left_alone.api, left_alone.pages
    booked = api.send("POST", "/suppliers", {"name": "Nobody"}, Idempotency_Key="k-1")
    filled = {
        "what": left_alone.codes["sack"], "_way": "less", "kg": "1", "reason": "spill",
    }  # fmt: skip
    form = pages.post("/adjust", left_alone.form | filled)
    by_script = pages.post("/adjust", left_alone.form | filled, Accept="application/json")

    problem(booked, 503, "busy")
    for answer in (booked, form, by_script):
        _told_to_come_again(answer)
    assert json.loads(by_script.text)["type"] == "/problems/busy"
    # To sign in is to write, too: a session is put down.
    with Visitor(left_alone.service) as stranger:
        _told_to_come_again(stranger.sign_in("Ada"))
    _told_to_come_again(pages.post("/sign-out", {"_token": left_alone.form["_token"]}))
    assert pages.get("/").status_code == 200

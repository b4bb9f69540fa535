"""What the book said then: the state of any unit and any trace at an earlier time."""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import quote

import pytest
from sqlalchemy import Engine, select
from sqlmodel import col

from app.ledger.tables import Entry
from app.shared.db import reading
from app.shared.times import now, text
from tests.api import Api, kg, problem
from tests.makers import PASSING, dispatch, furnish, pack, receive, roast, sack_codes
from tests.tracing.test_random_roasteries import Apprentice, kilograms

ACTS = 40

Moment = Callable[[], str]


@pytest.fixture
def moment(engine: Engine) -> Moment:
    """Tell the time at which the book learnt of the last thing it knows."""

    def last() -> str:
        with reading(engine) as session:
            learnt = session.scalar(
                select(col(Entry.recorded_at)).order_by(col(Entry.id).desc()).limit(1)
            )
        assert learnt is not None
        return text(learnt)

    return last


def instead(code: str) -> dict[str, str]:
    return {"corrects": code, "correction_reason": "mistyped"}


class Forgetful(Apprentice):
    """Does what a roastery does, and moves, holds, corrects and undoes as well."""

    def act(self) -> None:
        acts: list[Callable[[], None]] = [
            self.receive, self.roast, self.roast, self.blend, self.pack, self.pack, self.dispatch,
            self.dispatch, self.take_back, self.adjust, self.void, self.void_with, self.correct,
            self.correct, self.move, self.hold,
        ]  # fmt: skip
        self.random.choice(acts)()

    def move(self) -> None:
        unit = self._pick("sack", "roast", "blend", "pack")
        place = self.random.choice(["A-01", "B-02"])
        if unit is not None and self.api.get(f"/units/{self.code[unit]}")["location"] != place:
            self.api.post("/moves", {"sacks": [self.code[unit]], "to": place})

    def hold(self) -> None:
        unit = self._pick("lot", "sack", "roast", "dispatch")
        if unit is not None:
            held = self.api.post("/holds", {"units": [self.code[unit]], "reason": "at random"})
            if self.random.random() < 0.7:
                self.api.post(f"/holds/{held['id']}/release", {"reason": "at random"})

    def _some(self, most_g: int, *kinds: str) -> dict[int, int]:
        some = super()._some(most_g, *kinds)
        return {} if any(self._held(unit) for unit in some) else some

    def _held(self, unit: int) -> bool:
        return bool(self.api.get(f"/units/{self.code[unit]}")["held"])

    def correct(self) -> None:
        unit = self._pick("roast")
        if unit is None or self.paper.targets(unit):
            return
        parts = dict(self.paper.sources(unit))
        if any(self._held(each) for each in parts):
            return
        for source, grams in parts.items():
            self._change(source, grams)
        self._forget({unit})
        parts = {source: max(1, grams - 7) for source, grams in parts.items()}
        draws = {self.code[each]: kilograms(grams) for each, grams in parts.items()}
        end_g = max(1, sum(parts.values()) * 4 // 5)
        made = roast(self.api, draws, kilograms(end_g), **instead(self.code[unit]))
        self._write(made["code"], "roast", end_g, parts)

    def void_with(self) -> None:
        unit = self._pick("roast", "blend", "pack")
        if unit is None:
            return
        found = self.api.get(f"/units/{self.code[unit]}/impact")["with"]
        self.api.post(f"/units/{self.code[unit]}/void", {"reason": "at random", "with": found})
        voided = {each for each, code in self.code.items() if code in {*found, self.code[unit]}}
        for each in sorted(voided, reverse=True):
            for source, grams in self.paper.sources(each):
                self._change(source, grams)
            if self.paper.units[each].kind == "return":
                self._send_out_again(each)
        self._forget(voided)

    def _send_out_again(self, back: int) -> None:
        ((packed, grams),) = self.paper.sources(back)
        (sent,) = (sent for sent, came in self.came_back.items() if back in came)
        self.came_back[sent].remove(back)
        self.paper.back_g[sent, packed] -= grams
        self._change(packed, -grams)
        self._change(sent, grams)

    def _forget(self, units: set[int]) -> None:
        self.paper.flows = [flow for flow in self.paper.flows if flow[1] not in units]
        for unit in units:
            del self.paper.units[unit]


def ask(api: Api, path: str, at: str | None = None) -> Any:
    """Ask for what the book says or said; without the time that was asked for."""
    joined = "&" if "?" in path else "?"
    answer = api.get(f"{path}{joined}as_of={quote(at)}" if at else path)
    assert answer.pop("as_of") == at
    return answer


def ask_for_place(api: Api, at: str | None = None) -> Any:
    answer = api.send("POST", "/trace", {"location": "B-02"} | ({"as_of": at} if at else {}))
    if answer.status_code == 404:
        return "nothing stood there"
    told = answer.json()
    told.pop("as_of")
    return told


def test_what_the_book_answered_at_any_time_it_answers_again(
    api: Api, moment: Moment, book_is_sound: Callable[[], None]
) -> None:
    worker = Forgetful(api, 5)
    kept: list[tuple[str, str, Any]] = []
    places: list[tuple[str, Any]] = []
    for number in range(ACTS):
        worker.act()
        at = moment()
        code = worker.code[worker.random.choice(sorted(worker.paper.units))]
        paths = (f"/trace/{code}", f"/trace/{code}?direction=backward", f"/units/{code}")
        kept += [(path, at, ask(api, path)) for path in paths]
        if number % 5 == 0:
            places.append((at, ask_for_place(api)))

    for path, at, answer in kept:
        assert ask(api, path, at) == answer, (path, at)
    for at, answer in places:
        assert ask_for_place(api, at) == answer, at
    book_is_sound()


def test_what_was_believed_then_and_what_is_known_now_stand_beside_each_other(
    api: Api, moment: Moment
) -> None:
    furnish(api)
    (sack,) = sack_codes(receive(api, 60, lot="GL-1"))
    roast(api, {sack: 30}, kg("25.5"), code="R-1")
    believed = moment()

    roast(api, {sack: kg("30.5")}, kg("25.5"), code="R-2", **instead("R-1"))

    then, today = api.get(f"/trace/{sack}?as_of={believed}"), api.get(f"/trace/{sack}")
    assert [unit["code"] for unit in then["units"]] == [sack, "R-1"]
    assert [unit["code"] for unit in today["units"]] == [sack, "R-2"]
    assert (then["units"][0]["left_kg"], today["units"][0]["left_kg"]) == (30, kg("29.5"))
    assert (then["as_of"], today["as_of"]) == (believed, None)
    assert today["entry"] == then["entry"] + 1
    assert all(unit["happened_at"] <= unit["recorded_at"] for unit in today["units"])
    old = api.get(f"/units/R-1?as_of={believed}")
    assert (old["voided"], old["left_kg"], old["replaced_by"]) == (False, kg("25.5"), None)


def test_a_unit_that_was_replaced_is_traced_by_its_newest_successor(
    api: Api, moment: Moment
) -> None:
    furnish(api)
    (sack,) = sack_codes(receive(api, 60, lot="GL-1"))
    roast(api, {sack: 10}, 8, code="R-1")
    roast(api, {sack: 11}, 9, code="R-2", **instead("R-1"))
    between = moment()
    roast(api, {sack: 12}, 10, code="R-3", **instead("R-2"))

    followed, both = api.get("/trace/R-1"), api.post("/trace", {"units": ["R-1", "R-3"]})

    assert followed["of"] == {
        "code": "R-3", "kind": "roast", "asked": "R-1", "replaces": ["R-2"],
    }  # fmt: skip
    assert [unit["code"] for unit in followed["units"]] == ["R-3"]
    assert [start["code"] for start in both["of"]] == ["R-3", "R-3"]
    assert both["units"] == followed["units"]
    assert api.get(f"/trace/R-1?as_of={between}")["of"]["code"] == "R-2"
    api.post("/units/R-3/void", {"reason": "never was"})
    assert "R-3" in problem(api.send("GET", "/trace/R-1"), 409, "voided")["detail"]
    api.refuse("/trace", {"units": ["R-1"]}, 409, "voided")


def test_what_was_not_in_the_book_then_is_said_to_have_come_later(api: Api, moment: Moment) -> None:
    furnish(api)
    (sack,) = sack_codes(receive(api, 60, lot="GL-1"))
    before = moment()
    made = roast(api, {sack: 10}, 8, code="R-1", roasted_at="2026-03-03T08:00:00Z")
    api.post("/units/R-1/void", {"reason": "a slip"})
    after = moment()

    for path in ("/trace/R-1", "/units/R-1"):
        refusal = problem(api.send("GET", f"{path}?as_of={before}"), 404, "unknown-code")
        assert refusal["recorded_at"] > made["roasted_at"]
        assert before in refusal["detail"]
    problem(api.send("GET", f"/trace/R-1?as_of={after}"), 409, "voided")
    problem(api.send("GET", "/trace/GL-1?as_of=2020-01-01T00:00:00Z"), 404, "unknown-code")


@pytest.mark.parametrize("wrong", ["2026-03-03T08:00:00", "yesterday", "ahead"])
def test_a_time_is_one_with_an_offset_and_does_not_lie_ahead(api: Api, wrong: str) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1")
    at = text(now() + timedelta(minutes=6)) if wrong == "ahead" else wrong

    answer = api.send("GET", f"/trace/GL-1?as_of={at}")

    assert problem(answer, 422, "invalid")["errors"][0]["parameter"] == "as_of"


def test_an_hour_later_and_an_offset_ask_for_the_same_state(api: Api, moment: Moment) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1")
    at = moment()
    shifted = datetime.fromisoformat(at) + timedelta(hours=1)
    local = quote(shifted.isoformat().replace("+00:00", "+01:00"))

    answer = api.get(f"/trace/GL-1?as_of={local}")

    assert answer["as_of"] == at


def test_the_number_of_statements_does_not_grow_with_what_is_asked_of_the_past(
    api: Api, moment: Moment, statements: Callable[[], int]
) -> None:
    furnish(api)
    (sack,) = sack_codes(receive(api, 60, lot="GL-1"))
    roast(api, {sack: 5}, 4, code="R-1")
    pack(api, {"R-1": 1}, 4, code="P-1")
    dispatch(api, {"P-1": 1})
    costs = []

    for count in (0, 6):
        for number in range(count):
            code = f"R-1{number}"
            roast(api, {sack: 5}, 4, code=code, **PASSING)
            dispatch(api, {pack(api, {code: 1}, 4)["code"]: 1})
        at = moment()
        statements()
        api.get(f"/trace/GL-1?as_of={at}")
        costs.append(statements())
        api.get(f"/units/{sack}/impact")
        costs.append(statements())

    assert costs[:2] == costs[2:]
    assert max(costs) <= 20

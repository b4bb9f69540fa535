"""What stood where, when: by example, and against a model over random walks of sacks."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Final, NamedTuple
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine

from app.green.actions import receive
from app.green.schemas import DeliveryIn
from app.ledger import actions as ledger
from app.ledger.posting import Pen
from app.ledger.schemas import AdjustmentIn, VoidIn
from app.places.actions import move
from app.places.schemas import MoveIn
from app.places.stays import Window, stay_page, stood_at
from app.roasting.actions import roast as roast_it
from app.roasting.schemas import RoastIn
from app.settings import Settings
from app.shared.db import reading, writing
from app.shared.mass import kg_from_grams
from app.shared.paging import Page
from app.shared.problems import Refused
from app.shared.times import text
from tests.api import Api, problem
from tests.makers import PASSING, roast
from tests.places.conftest import Put


def move_at(api: Api, sack: str, to: str, at: str) -> None:
    api.post("/moves", {"sacks": [sack], "to": to, "moved_at": at})


def stays(api: Api, place: str, **asked: str) -> list[Any]:
    query = "&".join(f"{name}={quote(value)}" for name, value in asked.items())
    found: list[Any] = api.get(f"/locations/{place}/stays?{query}")["items"]
    return found


def test_a_stay_ended_when_the_sack_was_used_up_whenever_that_was_put_right(
    house: Api, put: Put
) -> None:
    [sack] = put("C-01-1", 20)
    drawn = {"sack": sack, "kg": kg_from_grams(19_900), "emptied": True}
    at = {"machine": "DRUM-75", "draws": [drawn], "roasted_at": "2026-03-11T08:00:00Z"} | PASSING
    wrong = house.post("/roasts", at | {"end_kg": 17})
    house.post(f"/units/{wrong['code']}/void", {"reason": "not 17 kg"})

    house.post("/roasts", at | {"end_kg": 16})

    (stay,) = stays(house, "C-01-1")
    assert (stay["went"], stay["went_at"]) == ("used_up", "2026-03-11T08:00:00Z")


@pytest.fixture
def leak(house: Api, put: Put) -> dict[str, str]:
    """Sacks around a rack under which the roof leaked in the night of 10 March."""
    stayed, left, used = put("C-01-1", 20, 20, 20)
    [came] = put("A-01", 20)
    move_at(house, left, "B-02", "2026-03-09T16:00:00Z")
    move_at(house, came, "C-01-2", "2026-03-10T07:00:00Z")
    roast(house, {used: 20}, 17, roasted_at="2026-03-11T10:00:00Z")
    return {"stayed": stayed, "left": left, "used": used, "came": came}


def test_stays_name_unit_place_and_time(house: Api, leak: dict[str, str]) -> None:
    arrived = "2026-03-02T08:00:00Z"
    sack = {"kind": "sack", "location": "C-01-1", "came_at": arrived}

    assert stays(house, "C-01") == [
        sack | {"id": 1, "unit": leak["stayed"], "went_at": None, "went": None},
        sack
        | {"id": 2, "unit": leak["left"], "went_at": "2026-03-09T16:00:00Z", "went": "moved"},
        sack
        | {"id": 3, "unit": leak["used"], "went_at": "2026-03-11T10:00:00Z", "went": "used_up"},
        sack
        | {"id": 6, "unit": leak["came"], "location": "C-01-2", "went_at": None, "went": None,
           "came_at": "2026-03-10T07:00:00Z"},
    ]  # fmt: skip


def test_a_night_over_a_rack_is_listed_and_traced_with_all_its_levels(
    house: Api, leak: dict[str, str]
) -> None:
    night = {"from": "2026-03-09T22:00:00+01:00", "to": "2026-03-10T08:00:00+01:00"}

    listed = [stay["unit"] for stay in stays(house, "C-01", **night)]
    trace = house.post("/trace", {"location": "C-01"} | night)

    assert listed == [leak["stayed"], leak["used"], leak["came"]]
    assert [start["code"] for start in trace["of"]] == listed
    assert [unit["kind"] for unit in trace["units"]].count("roast") == 1


def test_a_place_alone_is_asked_for_without_what_is_below_it(
    house: Api, put: Put, leak: dict[str, str]
) -> None:
    [floor] = put("C-01", 20)

    assert [stay["unit"] for stay in stays(house, "C-01", below="false")] == [floor]
    assert [stay["unit"] for stay in stays(house, "C-01-2")] == [leak["came"]]


def test_stays_come_a_page_at_a_time(house: Api, leak: dict[str, str]) -> None:
    first = house.get("/locations/QUAY/stays?limit=3")
    rest = house.get(f"/locations/QUAY/stays?limit=3&cursor={first['next']}")

    units = [stay["unit"] for page in (first, rest) for stay in page["items"]]
    assert units == [leak["stayed"], leak["left"], leak["used"], leak["came"]]
    assert rest["next"] is None


@pytest.mark.parametrize(
    ("query", "status", "slug"),
    [
        ("NOWHERE/stays", 404, "not-found"),
        ("C-01/stays?from=2026-03-10T08:00:00", 422, "invalid"),
        ("C-01/stays?to=yesterday", 422, "invalid"),
        ("C-01/stays?from=2026-03-10T08:00:01Z&to=2026-03-10T08:00:00Z", 422, "invalid"),
        ("C-01/stays?below=perhaps", 422, "invalid"),
    ],
)
def test_a_question_that_is_not_right_is_refused(
    house: Api, query: str, status: int, slug: str
) -> None:
    problem(house.send("GET", f"/locations/{query}"), status, slug)


BEGIN: Final = datetime(2026, 3, 2, tzinfo=UTC)
INSIDE: Final = {
    "QUAY": {"QUAY", "HALL", "C-01", "C-01-1", "C-01-2"},
    "HALL": {"HALL", "C-01", "C-01-1", "C-01-2"},
    "C-01": {"C-01", "C-01-1", "C-01-2"},
    "C-01-1": {"C-01-1"},
    "C-01-2": {"C-01-2"},
    "A-01": {"A-01"},
    "B-02": {"B-02"},
}
"""What is part of each place, written out by hand."""

NET_G: Final = 1000


def at(minute: float) -> datetime:
    return BEGIN + timedelta(minutes=minute)


class Stay(NamedTuple):
    unit: str
    place: str
    came: float
    went: float | None
    how: str | None

    def in_window(self, since: float | None, until: float | None) -> bool:
        """Tell whether a moment of the stay lies in the window, ends included."""
        begins = until is None or self.came <= until
        return begins and (since is None or self.went is None or self.went >= since)


@dataclass
class Walker:
    """A sack that somebody carries about and draws from; it knows its own past."""

    code: str
    lot: str
    left_g: int = NET_G
    moves: list[tuple[float, str]] = field(default_factory=list)
    draws: dict[str, tuple[float, int]] = field(default_factory=dict)
    adjusted: list[float] = field(default_factory=list)
    voided: bool = False

    def stays(self) -> Iterator[Stay]:
        if self.voided:
            return
        used_up = None
        if self.left_g == 0:
            used_up = max([when for when, _ in self.draws.values()] + self.adjusted)
        following = [when for when, _ in self.moves[1:]]
        for (came, place), left in zip(self.moves, [*following, None], strict=True):
            ends = {"moved": left, "used_up": used_up}
            known = {how: when for how, when in ends.items() if when is not None}
            how = min(known, key=lambda each: known[each], default=None)
            yield Stay(self.code, place, came, known[how] if how else None, how)


MINUTES = st.integers(0, 12)
PLACES = st.sampled_from(sorted(INSIDE))
ACTS = st.lists(
    st.tuples(
        st.sampled_from(["move", "move", "move", "draw", "empty", "adjust", "void"]),
        st.integers(0, 2),
        MINUTES,
        PLACES,
    ),
    max_size=12,
)
MOMENTS = st.none() | MINUTES | MINUTES.map(lambda minute: minute + 0.5)
WINDOWS = st.lists(st.tuples(PLACES, MOMENTS, MOMENTS, st.booleans()), min_size=1, max_size=6)


class Carrier:
    """Carries sacks about at random times, as the book takes them down and as they know it."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._settings = Settings(
            database_url="sqlite://", hold_on_arrival=False, _env_file=None
        )  # fmt: skip

    def book(self, act: Callable[[Pen], Any]) -> Any:
        with writing(self._engine) as session:
            return act(Pen(session, "carrier", self._settings))

    def arrive(self, place: str, minute: int) -> Walker:
        sacks = [{"net_kg": kg_from_grams(NET_G), "location": place}]
        asked = DeliveryIn.model_validate({
            "supplier": "Finca El Roble", "received_at": text(at(minute)),
            "lots": [{"name": "Sul", "origin": "BR", "sacks": sacks}],
        })  # fmt: skip
        [lot] = self.book(lambda pen: receive(pen, asked)).lots
        return Walker(lot.sacks[0].code, lot.code, moves=[(minute, place)])

    def act(self, what: str, sack: Walker, minute: int, place: str) -> None:
        if sack.voided:
            return
        since, here = sack.moves[-1]
        # Nobody moves a sack before it was put where it stands: that is refused.
        if what == "move" and here != place and minute >= since:
            said = {"sacks": [sack.code], "to": place, "moved_at": text(at(minute))}
            asked = MoveIn.model_validate(said)
            self.book(lambda pen: move(pen, asked))
            sack.moves.append((minute, place))
        elif what in {"draw", "empty"} and sack.left_g:
            self._draw(sack, minute, sack.left_g if what == "empty" else min(400, sack.left_g))
        elif what == "adjust" and sack.left_g:
            self._adjust(sack, minute, -min(300, sack.left_g))
        elif what == "void" and sack.draws:
            code, (_, grams) = sack.draws.popitem()
            self.book(lambda pen: ledger.void(pen, code, VoidIn(reason="a slip")))
            sack.left_g += grams
        elif what == "void" and sack.left_g == NET_G and not sack.adjusted:
            self.book(lambda pen: ledger.void(pen, sack.lot, VoidIn(reason="never came")))
            sack.voided = True

    def _draw(self, sack: Walker, minute: int, grams: int) -> None:
        asked = RoastIn.model_validate({
            "machine": "DRUM-75", "end_kg": kg_from_grams(grams), "roasted_at": text(at(minute)),
            "draws": [{"sack": sack.code, "kg": kg_from_grams(grams)}],
        } | PASSING)  # fmt: skip
        batch = self.book(lambda pen: roast_it(pen, asked)).code
        sack.draws[batch] = (minute, grams)
        sack.left_g -= grams

    def _adjust(self, sack: Walker, minute: int, grams: int) -> None:
        asked = AdjustmentIn.model_validate({
            "unit": sack.code, "kg": kg_from_grams(grams), "reason": "spill",
            "happened_at": text(at(minute)),
        })  # fmt: skip
        self.book(lambda pen: ledger.adjust(pen, asked))
        sack.adjusted.append(minute)
        sack.left_g += grams


def found_stays(engine: Engine, mine: set[str], place: str, window: Window, whole: bool) -> Any:
    with reading(engine) as session:
        items, _ = stay_page(session, Page(100_000, 0), place, window, with_parts=whole)
        try:
            standing = [unit.code for unit in stood_at(session, place, window, with_parts=whole)]
        except Refused:
            standing = []
    lines = [
        (each["unit"], each["location"], each["came_at"], each["went_at"], each["went"])
        for each in items
        if each["unit"] in mine
    ]
    return lines, [code for code in standing if code in mine]


def told(stay: Stay) -> tuple[str, str, str, str | None, str | None]:
    went = None if stay.went is None else text(at(stay.went))
    return stay.unit, stay.place, text(at(stay.came)), went, stay.how


def test_stays_are_what_the_sacks_themselves_remember(
    house: Api, engine: Engine, book_is_sound: Callable[[], None]
) -> None:
    """Each walk adds sacks of its own to one book, and only those are looked at."""
    for place in ("C-01", "C-01-2"):
        house.send("PATCH", f"/locations/{place}", {"capacity_kg": None}, If_Match="*")
    carrier = Carrier(engine)

    @settings(
        max_examples=15, derandomize=True, deadline=None,
        suppress_health_check=list(HealthCheck), database=None,
    )  # fmt: skip
    @given(st.lists(st.tuples(PLACES, MINUTES), min_size=3, max_size=3), ACTS, WINDOWS)
    def walk(
        begin: list[tuple[str, int]],
        acts: list[tuple[str, int, int, str]],
        windows: list[tuple[str, float | None, float | None, bool]],
    ) -> None:
        sacks = [carrier.arrive(place, minute) for place, minute in begin]
        for what, number, minute, place in acts:
            carrier.act(what, sacks[number], minute, place)
        remembered = [stay for sack in sacks for stay in sack.stays()]
        for place, *ends, whole in windows:
            since, until = sorted_ends(*ends)
            expected = [
                stay for stay in remembered
                if stay.place in (INSIDE[place] if whole else {place})
                and stay.in_window(since, until)
            ]  # fmt: skip
            window = Window(*(None if end is None else at(end) for end in (since, until)))
            mine = {sack.code for sack in sacks}
            lines, standing = found_stays(engine, mine, place, window, whole)
            assert sorted(lines) == sorted(map(told, expected))
            assert set(standing) == {stay.unit for stay in expected}
            assert len(standing) == len(set(standing))

    walk()
    book_is_sound()


def sorted_ends(*ends: float | None) -> tuple[float | None, float | None]:
    since, until = ends
    if since is not None and until is not None and since > until:
        return until, since
    return since, until

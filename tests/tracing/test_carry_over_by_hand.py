"""Small roasteries that act at random, and every possible contact of them counted by hand."""

import random
from collections import Counter
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import Engine
from sqlmodel import Session

from app.ledger.actions import void
from app.ledger.cards import add
from app.ledger.posting import Pen
from app.ledger.queries import unit_by_code
from app.ledger.schemas import VoidIn
from app.packing.actions import blend, pack
from app.packing.schemas import BlendIn, PackIn
from app.places.actions import add_location, move
from app.places.schemas import LocationIn, MoveIn
from app.roasting.actions import roast
from app.roasting.machines import MACHINES, clean_down
from app.roasting.schemas import CleanDownIn, MachineIn, RoastIn
from app.roasting.silos.cleaning import clean_place
from app.settings import Settings
from app.shared.db import reading, writing
from app.shared.mass import kg_from_grams
from app.shared.problems import Refused
from app.tracing.carry_over import contacts
from app.tracing.schemas import Direction
from app.tracing.walk import walk
from tests.api import Api
from tests.makers import PASSING, furnish, receive, sack_codes
from tests.tracing.residue import Notebook, Spell

BEGIN = datetime(2026, 3, 5, tzinfo=UTC)
ACTS = 45


class Tipper:
    """Roasts, tips, pours and cleans at random, hour by hour, and notes it down."""

    hour = 0

    def __init__(self, session: Session, seed: int, sacks: list[str]) -> None:
        self.pen = Pen(session, "tipper", Settings(_env_file=None))
        self.random = random.Random(seed)  # noqa: S311 - the same roastery every time
        self.notes = Notebook()
        self.left: dict[str, int] = {}
        self.parts_of: dict[str, dict[str, int]] = {}
        self.used_at: dict[str, list[tuple[str, int]]] = {}
        """Of each unit what was made of it, and when."""
        self.born: dict[str, int] = {}
        self.stands: dict[str, list[tuple[str, int, int, int | None]]] = {}
        """Of each unit the places: since when, the number of the move, until when it was moved."""
        self.moves = 0
        self.sacks = sacks
        self.places = [f"{kind}-{seed}" for kind in ("SILO", "HOPPER", "TRAY")]
        self.drums, self.blender, self.line = (
            [f"OVEN-{seed}-{n}" for n in (1, 2)], f"MIXER-{seed}", f"FILLER-{seed}",
        )  # fmt: skip
        kinds = dict.fromkeys(self.drums, "roaster")
        for code, kind in (kinds | {self.blender: "blender", self.line: "packing_line"}).items():
            add(self.pen, MACHINES, MachineIn.model_validate(self._card(code, kind)))
        for code in self.places:
            add_location(self.pen, LocationIn.model_validate(self._card(code, code[:-2].lower())))

    def _card(self, code: str, kind: str) -> dict[str, Any]:
        runs, hours = self.random.randint(1, 3), self.random.choice([None, 1, 3])
        self.notes.windows[code] = runs, hours
        return {"code": code, "kind": kind, "carry_over_runs": runs, "carry_over_hours": hours}

    def work(self) -> None:
        acts = [self.roast] * 4 + [self.blend] * 3 + [self.pack] * 2
        acts += [self.move, self.clean, self.clean, self.void]
        for hour in range(ACTS):
            # Several acts share an hour, and some are booked a little late.
            self.hour = max(0, hour // 2 - self.random.choice([0, 0, 0, 2]))
            self.random.choice(acts)()
        self._note_stays()

    def _at(self) -> datetime:
        return BEGIN + timedelta(hours=self.hour)

    def _chance(self, *choices: str) -> str | None:
        return self.random.choice([None, *choices, *choices])

    def roast(self) -> None:
        sack, machine = self.random.choice(self.sacks), self.random.choice(self.drums)
        asked = {
            "machine": machine, "draws": [{"sack": sack, "kg": 12}], "end_kg": 10,
            "roasted_at": self._at().isoformat(), "to": self._chance(*self.places),
        } | PASSING  # fmt: skip
        made = roast(self.pen, RoastIn.model_validate(asked))
        self._note(made.code, 10_000, {sack: 0}, machine, made.location)

    def blend(self) -> None:
        source = self._source()
        if source:
            asked = {
                "parts": [source], "machine": self._chance(self.blender),
                "to": self._chance(*self.places), "blended_at": self._at().isoformat(),
            }  # fmt: skip
            made = blend(self.pen, BlendIn.model_validate(asked))
            parts = {part.unit: part.grams for part in made.parts}
            self._note(made.code, made.grams, parts, made.machine, made.location)

    def pack(self) -> None:
        source = self._source()
        if source and source["kg"] >= 1:
            asked = {
                "product": "HOUSE-250", "from": [source], "machine": self._chance(self.line),
                "bags": 1, "packed_at": self._at().isoformat(),
            }  # fmt: skip
            made = pack(self.pen, PackIn.model_validate(asked))
            self._note(
                made.code, 0, {part.unit: part.grams for part in made.parts}, made.machine, None
            )

    def move(self) -> None:
        origin, to = self.random.sample(self.places, 2)
        moved = self._in(origin)
        if moved and all(self.born[unit] <= self.hour for unit in moved):
            asked = {"from": origin, "to": to, "moved_at": self._at().isoformat()}
            try:
                move(self.pen, MoveIn.model_validate(asked))
            except Refused:  # one of them came later than this is said to have been
                return
            for unit in moved:
                where, came, number, _ = self.stands[unit][-1]
                self.stands[unit][-1] = where, came, number, self.hour
                self._stand(unit, to)

    def clean(self) -> None:
        where = self.random.choice([*self.drums, self.blender, self.line, *self.places])
        asked = CleanDownIn.model_validate({"cleaned_at": self._at().isoformat()})
        try:
            if where in self.places:
                clean_place(self.pen, where, asked)
            else:
                clean_down(self.pen, where, asked)
        except Refused:
            return
        self.notes.cleaned.append((where, self.hour))

    def void(self) -> None:
        sources = {source for source, _ in self.notes.flows}
        unused = sorted(self.born.keys() - sources)
        if unused:
            unit = self.random.choice(unused)
            void(self.pen, unit, VoidIn(reason="at random"))
            for part, grams in self.parts_of[unit].items():
                self.left[part] = self.left.get(part, 0) + grams
            self.notes.units.discard(unit)
            self.notes.flows = [flow for flow in self.notes.flows if flow[1] != unit]
            self.notes.runs = [run for run in self.notes.runs if run.unit != unit]
            for known in (self.born, self.left, self.stands):
                known.pop(unit, None)

    def _in(self, place: str) -> list[str]:
        return [
            unit
            for unit, stood in self.stands.items()
            if stood and stood[-1][0] == place and stood[-1][3] is None and self.left[unit]
        ]

    def _source(self) -> dict[str, Any] | None:
        """Name a place with coffee in it, or coffee that stands in none; some of it or all."""
        filled = [place for place in self.places if self._in(place)]
        loose = [unit for unit in self.born if self.left[unit] and not self.stands[unit]]
        if not filled and not loose:
            return None
        source = self.random.choice([*filled, *loose])
        there = self._in(source) if source in filled else [source]
        whole_g = sum(self.left[unit] for unit in there)
        grams = self.random.choice([whole_g, self.random.randint(1, whole_g)])
        return {"place" if source in filled else "unit": source, "kg": kg_from_grams(grams)}

    def _note(
        self,
        unit: str,
        grams: int,
        parts: Mapping[str, int],
        machine: str | None,
        place: str | None,
    ) -> None:
        self.notes.units |= {unit, *parts}
        self.notes.flows += [(part, unit) for part in parts]
        self.parts_of[unit] = dict(parts)
        self.born[unit], self.left[unit], self.stands[unit] = self.hour, grams, []
        for part in parts.keys() & self.left.keys():
            self.left[part] -= parts[part]
            self.used_at.setdefault(part, []).append((unit, self.hour))
        if machine:
            number = len(self.parts_of)
            self.notes.runs.append(Spell(machine, unit, self.hour, number, self.hour))
        if place:
            self._stand(unit, place)

    def _stand(self, unit: str, place: str) -> None:
        self.moves += 1
        self.stands[unit].append((place, self.hour, self.moves, None))

    def _note_stays(self) -> None:
        for unit, stood in self.stands.items():
            uses = [hour for user, hour in self.used_at.get(unit, ()) if user in self.born]
            used_up = max(uses, default=None) if self.left[unit] == 0 else None
            for place, came, number, moved in stood:
                ends = [end for end in (used_up, moved) if end is not None]
                went = max(came, min(ends)) if ends else float("inf")
                self.notes.stays.append(Spell(place, unit, came, number, went))


@pytest.fixture
def tippers(api: Api, engine: Engine, request: pytest.FixtureRequest) -> list[Tipper]:
    """Roasteries side by side in one book, with nothing in common but their sacks' supplier."""
    furnish(api)
    sqlite = request.node.callspec.params["database_url"] == "sqlite"
    worked = []
    for seed in range(5 if sqlite else 1):
        sacks = sack_codes(receive(api, 900, 900))
        with writing(engine) as session:
            worked.append(Tipper(session, seed, sacks))
            worked[-1].work()
    return worked


def assert_counted(tipper: Tipper, session: Session, code: str, direction: Direction) -> list[int]:
    """Hold one answer against the count; returns how many hops away each unit was."""
    forward = direction is Direction.FORWARD
    walked = walk(session, [unit_by_code(session, code).id], direction)

    told = contacts(session, walked, 4).found

    # The notebook begins with sacks: it knows of no lots.
    hop_of = {each.unit.code: each.hop for each in told.values() if each.unit.kind != "lot"}
    by_hand = tipper.notes.contact(code, forward=forward, hops=4)
    assert hop_of == by_hand, (tipper.places, code, direction)
    for each in told.values():
        if each.near:
            before = told.get(each.near.by)
            by = before.unit if before else walked.units[each.near.by]
            pair = (by.code, each.unit.code)
            assert (pair if forward else pair[::-1]) in tipper.notes.pairs
            assert each.hop == (before.hop if before else 0) + 1
    return list(hop_of.values())


def test_possible_contact_is_what_a_count_by_hand_finds(
    tippers: list[Tipper], engine: Engine, book_is_sound: Callable[[], None]
) -> None:
    found = Counter({0: 0})
    with reading(engine) as session:
        for tipper in tippers:
            for code in sorted(tipper.notes.units):
                for direction in Direction:
                    found.update(assert_counted(tipper, session, code, direction))

    assert all(found[hop] > 10 for hop in (1, 2, 3, 4))
    book_is_sound()

"""Filling a book with years of an invented roastery by bulk statements, its journal chained right.

Proportions are those of the demo, but for lots, which have 300 sacks here: four coffees on the go,
two roasts of a sack, blends of six roasts of which one in three gets the rest of the blend before,
two packs of a blend and some of roasts alone, two lines a dispatch, a machine cleaned every ten
days. What a recall does not look at (readings, tastings, corrections, labels) is left out.
"""

import random
from collections import defaultdict, deque
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import Engine, func, insert, select, text
from sqlmodel import Session, SQLModel, col

from app.ledger.journal.reading import head
from app.ledger.rules import Lines, canonical, seal
from app.ledger.tables import Unit
from app.places.tables import Location, Move
from app.roasting.tables import Machine
from app.shared.db import next_number, writing
from tests.bench.bare import write_rows

SACKS = 300
SACK_G = 60_000
CHARGE_G, END_G = 30_000, 25_500
BAG_G = 250
CUSTOMERS = 200

Item = dict[str, Any]

_ORDER = (
    "entry", "unit", "delivery", "green_lot", "sack", "roast", "blend", "pack", "dispatch",
    "flow", "dispatch_line", "machine_run", "clean_down", "move",
)  # fmt: skip
"""Tables in the order in which they refer to one another."""


class Filler:
    """Makes rows, and writes them every so often."""

    def __init__(self, session: Session, seed: int) -> None:
        self._session = session
        self._rng = random.Random(seed)  # noqa: S311 - a book that is the same every time
        self._rows: dict[str, list[Item]] = defaultdict(list)
        ends = head(session)
        self._entries, self._sha256 = ends.entry, ends.sha256
        self._units = session.scalar(select(func.max(col(Unit.id)))) or 0
        self._moves = next_number(session, col(Move.id)) - 1
        self._now = datetime(2000, 1, 3, 6, tzinfo=UTC)
        self._cleaned = self._now
        self.flows = 0
        self.lots: list[str] = []
        self._machines = {
            code: number for number, code in session.execute(
                select(col(Machine.id), col(Machine.code))
            )
        }  # fmt: skip
        self._rack = session.scalar(select(func.min(col(Location.id))))
        self._at_hand: list[deque[Item]] = [deque() for _ in range(4)]
        self._before: Item | None = None
        self._sent = 0

    def fill(self, flows: int) -> None:
        """Work on until there are about so many flows."""
        while self.flows < flows:
            self._work()
            if len(self._rows["flow"]) > 20_000:
                self.write()
        self.write()

    def write(self) -> None:
        """Write what was made, by the driver itself: ten million flows are a great many rows."""
        connection = self._session.connection().connection
        for name in _ORDER:
            if rows := self._rows.pop(name, []):
                write_rows(connection.driver_connection, name, rows)

    def _bear(self, kind: str, made_g: int) -> Item:
        self._units += 1
        unit = {
            "id": self._units, "code": f"{kind[:1].upper()}.{self._units:08d}", "kind": kind,
            "made_g": made_g, "left_g": made_g, "born_entry_id": self._entries + 1,
            "location_id": self._rack if kind == "sack" else None,
        }  # fmt: skip
        self._rows["unit"].append(unit)
        return unit

    def _flow(self, target: Item, parts: Mapping[int, int]) -> list[tuple[int, int, int]]:
        self.flows += len(parts)
        lines = [(source, target["id"], grams) for source, grams in parts.items()]
        self._rows["flow"] += [
            {"source_id": source, "target_id": made, "grams": grams}
            for source, made, grams in lines
        ]
        return lines

    def _post(
        self, kind: str, born: Sequence[Item] = (), flows: Sequence[tuple[int, int, int]] = ()
    ) -> int:
        """Write the entry over what was made since the one before."""
        self._entries += 1
        lines = Lines(
            born=[(unit["id"], unit["code"], unit["kind"], unit["made_g"]) for unit in born],
            flows=flows,
        )
        members: dict[str, object] = {
            "id": self._entries, "kind": kind, "happened_at": self._now, "recorded_at": self._now,
            "who": "bench", "facts": canonical({"said": {}, "book": lines.as_facts()}),
            "idempotency_key": None, "fingerprint": None, "reverses_id": None,
            "previous_sha256": self._sha256,
        }  # fmt: skip
        self._sha256 = seal(members)
        self._rows["entry"].append(members | {"sha256": self._sha256})
        self._now += timedelta(minutes=10)
        return self._entries

    def _ran(self, unit: Item, machine: str) -> None:
        self._rows["machine_run"].append(
            {"unit_id": unit["id"], "machine_id": self._machines[machine], "ran_at": self._now}
        )

    def _receive(self) -> list[Item]:
        lot = self._bear("lot", SACKS * SACK_G)
        self.lots.append(lot["code"])
        sacks = [self._bear("sack", SACK_G) for _ in range(SACKS)]
        flows = [line for sack in sacks for line in self._flow(sack, {lot["id"]: SACK_G})]
        entry = self._post("delivery", [lot, *sacks], flows)
        self._rows["delivery"].append(
            {"id": entry, "code": f"A.{entry}", "supplier_id": 1, "entry_id": entry}
        )
        self._rows["green_lot"].append(
            {"unit_id": lot["id"], "delivery_id": entry, "name": "Coffee", "origin": "ET"}
        )
        self._rows["sack"] += [
            {"unit_id": sack["id"], "lot_id": lot["id"], "number": number, "condition": "sound"}
            for number, sack in enumerate(sacks, 1)
        ]
        for sack in sacks:
            self._moves += 1
            self._rows["move"].append(
                {"id": self._moves, "unit_id": sack["id"], "to_id": self._rack, "entry_id": entry}
            )
        return [half for sack in sacks for half in (sack, sack)]

    def _roast(self, coffee: int) -> Item:
        if not self._at_hand[coffee]:
            self._at_hand[coffee].extend(self._receive())
        sack = self._at_hand[coffee].popleft()
        made = self._bear("roast", END_G)
        flows = self._flow(made, {sack["id"]: CHARGE_G})
        self._ran(made, "DRUM-75" if coffee % 2 else "DRUM-15")
        self._rows["roast"].append(
            {"unit_id": made["id"], "charge_g": CHARGE_G, "passed": True, "checks": "[]"}
        )
        self._post("roast", [made], flows)
        return made

    def _blend(self, roasts: Sequence[Item]) -> Item:
        parts = {each["id"]: END_G for each in roasts}
        if self._before is not None and self._rng.random() < 1 / 3:
            parts[self._before["id"]] = 1000
        made = self._bear("blend", sum(parts.values()))
        flows = self._flow(made, parts)
        self._ran(made, "TUMBLER")
        self._rows["blend"].append({"unit_id": made["id"]})
        self._post("blend", [made], flows)
        self._before = made
        return made

    def _pack(self, parts: Mapping[int, int]) -> Item:
        made = self._bear("pack", sum(parts.values()))
        flows = self._flow(made, parts)
        self._ran(made, "LINE-1")
        self._rows["pack"].append({
            "unit_id": made["id"], "product_id": 1, "bags": made["made_g"] // BAG_G,
            "nominal_g": BAG_G, "lot_mark": made["code"], "best_before": date(2030, 1, 1),
        })  # fmt: skip
        self._post("pack", [made], flows)
        return made

    def _send(self, packs: Sequence[Item]) -> None:
        parts = {each["id"]: each["made_g"] // BAG_G * 4 // 10 * BAG_G for each in packs}
        made = self._bear("dispatch", sum(parts.values()))
        flows = self._flow(made, parts)
        self._rows["dispatch"].append(
            {"unit_id": made["id"], "customer_id": 1 + self._rng.randrange(CUSTOMERS)}
        )
        self._rows["dispatch_line"] += [
            {"dispatch_id": made["id"], "pack_id": pack, "bags": grams // BAG_G, "grams": grams}
            for pack, grams in parts.items()
        ]
        self._post("dispatch", [made], flows)

    def _work(self) -> None:
        """Roast, blend, pack and send once: eight roasts, a blend, four packs, four dispatches."""
        if self._now - self._cleaned > timedelta(days=2):
            self._clean()
        blend = self._blend([self._roast(number % 4) for number in range(6)])
        single = [self._roast(self._rng.randrange(4)) for _ in range(2)]
        packs = [self._pack({blend["id"]: 75_000}), self._pack({blend["id"]: 75_000})]
        packs += [
            self._pack({single[0]["id"]: 20_000}),
            self._pack({single[0]["id"]: 5_000, single[1]["id"]: 25_000}),
        ]
        for first in range(4):
            self._send([packs[first], packs[(first + 1) % 4]])

    def _clean(self) -> None:
        self._cleaned = self._now
        code = self._rng.choice(sorted(self._machines))
        entry = self._post("clean-down")
        self._rows["clean_down"].append(
            {"machine_id": self._machines[code], "cleaned_at": self._now, "entry_id": entry}
        )


def fill(engine: Engine, flows: int, seed: int = 1) -> Sequence[str]:
    """Fill a furnished book; returns the codes of its lots, oldest first."""
    with writing(engine) as session, _without_indexes(session):
        _enter_customers(session)
        filler = Filler(session, seed)
        filler.fill(flows)
        # What is left is settled at once: while the rows were made, more kept flowing out.
        session.execute(text(
            "UPDATE unit SET left_g = made_g - "
            "(SELECT COALESCE(SUM(grams), 0) FROM flow WHERE source_id = unit.id)"
        ))  # fmt: skip
    if engine.dialect.name == "postgresql":
        with engine.connect() as connection:
            connection.execute(text("ANALYZE"))
            connection.commit()
    return filler.lots


@contextmanager
def _without_indexes(session: Session) -> Iterator[None]:
    """Build SQLite's indexes once everything is there: one by one it takes twice as long."""
    if session.get_bind().dialect.name != "sqlite":
        yield
        return
    found = session.execute(text(
        "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL"
    )).all()  # fmt: skip
    # Rows come in the order in which they refer to one another; `check` finds what does not.
    session.execute(text("PRAGMA defer_foreign_keys = ON"))
    for name, _ in found:
        session.execute(text(f'DROP INDEX "{name}"'))
    yield
    for _, statement in found:
        session.connection().exec_driver_sql(statement)


def _enter_customers(session: Session) -> None:
    table = SQLModel.metadata.tables["customer"]
    there = session.scalar(select(func.max(table.c.id))) or 0
    session.execute(insert(table), [
        {"id": number, "version": 1, "name": f"Customer {number}",
         "name_key": f"customer {number}", "contact": f"+00 {number}", "kind": "business"}
        for number in range(there + 1, CUSTOMERS + 1)
    ])  # fmt: skip

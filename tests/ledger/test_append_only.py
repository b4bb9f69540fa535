"""The database itself refuses to change or lose what was booked, whoever asks it."""

from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import Engine, Executable, Table, func, select, text
from sqlalchemy.exc import DBAPIError
from sqlmodel import SQLModel

from app.shared.db import reading
from tests.api import Api, kg
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes

FACTS = (
    "entry", "keyed_answer", "flow", "adjustment", "hold", "hold_unit", "hold_release",
    "delivery", "green_lot", "sack", "move", "reading", "roast", "machine_run", "clean_down",
    "cupping", "blend", "pack", "dispatch", "dispatch_line", "returned",
)  # fmt: skip
"""The tables whose every row is a fact of the book."""


A_UNIT: dict[str, Any] = {
    "id": 9999,
    "code": "X-1",
    "kind": "sack",
    "made_g": 5,
    "left_g": 5,
    "born_entry_id": 1,
}


def table_of(name: str) -> Table:
    return SQLModel.metadata.tables[name]


def refusal_of(engine: Engine, statement: Executable) -> str | None:
    """Run a statement as anybody with access to the database could; what it says if it refuses."""
    try:
        with engine.begin() as connection:
            connection.execute(statement)
    except DBAPIError as error:
        return str(error.orig)
    return None


@pytest.fixture
def full_book(api: Api, engine: Engine) -> dict[str, list[Any]]:
    """Every table of facts with at least one row in it."""
    furnish(api)
    lot = receive(api, 60, 60, lot="GL-1")
    one, other = sack_codes(lot)
    api.post("/moves", {"sacks": [one], "to": "B-02"}, Idempotency_Key="scan-1")
    api.post("/readings", {"subject": "GL-1", "kind": "moisture", "value": kg("11.4")})
    held = api.post("/holds", {"units": ["GL-1"], "reason": "mould"})
    api.post(f"/holds/{held['id']}/release", {"reason": "dust"})
    api.post("/adjustments", {"unit": other, "kg": kg("-0.35"), "reason": "sample"})
    batch = roast(api, {one: 60}, 51, code="R-A", profile_hit=False)["code"]
    api.post("/roasts/R-A/cuppings", {"verdict": "release"})
    api.post("/machines/DRUM-75/clean-downs", {})
    mixed = blend(api, {batch: 50}, machine="TUMBLER")["code"]
    bags = pack(api, {mixed: 50}, 200)["code"]
    sent = dispatch(api, {bags: 12})["code"]
    back = {"dispatch": sent, "lines": [{"pack": bags, "bags": 2}], "reason": "torn"}
    api.post("/returns", back)
    unneeded = roast(api, {other: 10}, 9, code="R-B")["code"]
    api.post(f"/units/{unneeded}/void", {"reason": "booked twice"})
    return everything(engine)


def everything(engine: Engine) -> dict[str, list[Any]]:
    """Read every row of every table of facts."""
    with reading(engine) as session:
        return {
            name: sorted(session.execute(select(table_of(name))).all(), key=repr)
            for name in (*FACTS, "unit")
        }


def still(engine: Engine, before: dict[str, list[Any]]) -> bool:
    """Tell whether no row came, went or changed."""
    return all(before.values()) and everything(engine) == before


def test_no_fact_can_be_changed(engine: Engine, full_book: dict[str, list[Any]]) -> None:
    said = {}
    for name in FACTS:
        column = list(table_of(name).c)[-1]
        said[name] = refusal_of(engine, table_of(name).update().values({column: column}))

    assert {name for name, words in said.items() if "append-only" not in (words or "")} == set()
    assert still(engine, full_book)


def test_no_fact_can_be_deleted(engine: Engine, full_book: dict[str, list[Any]]) -> None:
    said = {name: refusal_of(engine, table_of(name).delete()) for name in (*FACTS, "unit")}

    assert {name for name, words in said.items() if "append-only" not in (words or "")} == set()
    assert still(engine, full_book)


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_no_table_of_facts_can_be_emptied(engine: Engine, full_book: dict[str, list[Any]]) -> None:
    for name in (*FACTS, "unit"):
        assert "append-only" in (refusal_of(engine, text(f"TRUNCATE {name} CASCADE")) or "")

    assert still(engine, full_book)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_no_fact_can_be_replaced_by_inserting_over_it(
    engine: Engine, full_book: dict[str, list[Any]]
) -> None:
    for name in (*FACTS, "unit"):
        over = table_of(name).insert().prefix_with("OR REPLACE")
        whole = over.from_select(list(table_of(name).c.keys()), select(table_of(name)))
        assert "append-only" in (refusal_of(engine, whole) or ""), name
    over_code = table_of("unit").insert().prefix_with("OR REPLACE").values(A_UNIT | {"code": "R-B"})
    assert "append-only" in (refusal_of(engine, over_code) or "")
    assert still(engine, full_book)


def test_of_a_unit_only_what_is_left_where_it_stands_and_whether_it_was_voided_can_change(
    engine: Engine, full_book: dict[str, list[Any]]
) -> None:
    unit = table_of("unit")
    youngest = unit.update().where(unit.c.code == "R-B")
    others: dict[str, Any] = {
        "id": 9999,
        "code": "OTHER",
        "kind": "blend",
        "made_g": 1,
        "born_entry_id": 1,
    }

    accepted = [
        column
        for column, value in others.items()
        if refusal_of(engine, youngest.values({column: value})) is None
    ]

    assert accepted == []
    assert still(engine, full_book)


def test_a_unit_is_voided_once_and_stays_voided(
    engine: Engine, full_book: dict[str, list[Any]]
) -> None:
    unit = table_of("unit")
    voided = unit.update().where(unit.c.voided_entry_id.is_not(None))

    assert refusal_of(engine, voided.values(voided_entry_id=1))
    assert refusal_of(engine, voided.values(voided_entry_id=None))
    assert still(engine, full_book)


IMPOSSIBLE: list[tuple[str, dict[str, Any]]] = [
    ("flow", {"source_id": 2, "target_id": 1, "grams": 5}),
    ("flow", {"source_id": 1, "target_id": 1, "grams": 5}),
    ("flow", {"source_id": 2, "target_id": 5, "grams": 0}),
    ("flow", {"source_id": 2, "target_id": 9999, "grams": 5}),
    ("adjustment", {"id": 9999, "unit_id": 2, "entry_id": 1, "grams": 0, "reason": "spill"}),
    ("unit", A_UNIT | {"made_g": 0, "left_g": 0}),
    ("unit", A_UNIT | {"left_g": -1}),
    ("unit", A_UNIT | {"code": "R-A"}),
    ("unit", A_UNIT | {"born_entry_id": 9999}),
]
"""Coffee flowing backward, in a circle, out of nowhere or as nothing, and units of such."""


def test_what_cannot_be_is_not_taken_in(engine: Engine, full_book: dict[str, list[Any]]) -> None:
    accepted = [
        (table, row)
        for table, row in IMPOSSIBLE
        if refusal_of(engine, table_of(table).insert().values(row)) is None
    ]

    assert accepted == []
    assert still(engine, full_book)


def test_nothing_is_left_below_zero(engine: Engine, full_book: dict[str, list[Any]]) -> None:
    unit = table_of("unit")

    assert refusal_of(engine, unit.update().values(left_g=unit.c.left_g - 60_001))
    assert still(engine, full_book)


def test_a_book_with_one_of_everything_is_sound(
    engine: Engine, full_book: dict[str, list[Any]], book_is_sound: Callable[[], None]
) -> None:
    with reading(engine) as session:
        voided = select(func.count()).where(table_of("unit").c.voided_entry_id.is_not(None))
        assert session.scalar(voided) == 1
    assert set(full_book) == {*FACTS, "unit"}
    book_is_sound()

"""Writing many rows at once: the same rows, and the same refusals, as writing them one by one."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import Engine, func, select
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from app.ledger.tables import Entry, Unit, UnitKind
from app.sending.tables import Customer
from app.shared.bulk import write_rows
from app.shared.db import reading, writing
from tests.api import Api
from tests.makers import furnish

FEW, MANY = 3, 5_100
"""PostgreSQL gets the few row by row and the many by COPY, twice."""


def units(number: int, **other: object) -> Iterator[dict[str, object]]:
    for n in range(number):
        yield {
            "id": 100_000 + n, "code": f"Z-{n}", "kind": UnitKind.SACK, "made_g": 60_000 + n,
            "left_g": 60_000, "location_id": None, "born_entry_id": 1, **other,
        }  # fmt: skip


@pytest.mark.parametrize("number", [FEW, MANY])
def test_rows_are_written_as_they_are(api: Api, engine: Engine, number: int) -> None:
    furnish(api)
    with writing(engine) as session:
        write_rows(session.connection(), "unit", units(number))

    with reading(engine) as session:
        found = session.execute(
            select(col(Unit.code), col(Unit.kind), col(Unit.made_g), col(Unit.location_id))
            .where(col(Unit.id) >= 100_000)
            .order_by(col(Unit.id))
        ).all()  # fmt: skip
    assert found == [(f"Z-{n}", "sack", 60_000 + n, None) for n in range(number)]


@pytest.mark.parametrize("number", [FEW, MANY])
def test_moments_are_kept_in_utc(api: Api, engine: Engine, number: int) -> None:
    furnish(api)
    with reading(engine) as session:
        last = session.scalar(select(func.max(col(Entry.id)))) or 0
    east = datetime(2026, 3, 9, 6, 0, 0, 7, tzinfo=UTC) + timedelta(hours=11)
    with writing(engine) as session:
        write_rows(session.connection(), "entry", (
            {"id": last + n, "kind": "note", "happened_at": east, "recorded_at": east, "who": "a",
             "facts": '{"said":"a\\tb\\\\n"}', "previous_sha256": "0" * 64, "sha256": f"{n:064}"}
            for n in range(1, number + 1)
        ))  # fmt: skip
        found = {
            (row.happened_at, row.facts)
            for row in session.execute(
                select(col(Entry.happened_at), col(Entry.facts)).where(col(Entry.id) > last)
            )
        }
    assert found == {(east, '{"said":"a\\tb\\\\n"}')}


@pytest.mark.parametrize("number", [FEW, MANY])
@pytest.mark.parametrize("flaw", [{"code": "Z-1"}, {"born_entry_id": 999_999}, {"left_g": -1}])
def test_nothing_is_written_of_what_the_book_does_not_take(
    api: Api, engine: Engine, number: int, flaw: dict[str, object]
) -> None:
    furnish(api)
    with pytest.raises(IntegrityError), writing(engine) as session:
        write_rows(session.connection(), "unit", units(number, **flaw))

    with reading(engine) as session:
        assert session.scalar(select(func.count()).select_from(Unit)) == 0


@pytest.mark.parametrize("number", [FEW, MANY])
def test_what_a_row_does_not_say_is_as_its_table_has_it(
    api: Api, engine: Engine, number: int
) -> None:
    furnish(api)
    names = [f"Kelda {n}" for n in range(number)]
    with writing(engine) as session:
        write_rows(session.connection(), "customer", (
            {"name": name, "name_key": name.upper()} for name in names
        ))  # fmt: skip

    with reading(engine) as session:
        found = session.execute(
            select(col(Customer.name), col(Customer.version))
            .where(col(Customer.name).in_(names[:2]))
            .order_by(col(Customer.id))
        ).all()
    assert found == [(names[0], 1), (names[1], 1)]

"""The scenario is the same every time, and the book it leaves is sound."""

from collections.abc import Callable
from datetime import date

from sqlalchemy import Engine, func, select
from sqlmodel import col

from app.ledger.tables import Unit, UnitKind
from app.settings import Settings
from app.shared.db import reading
from app.tracing.queries import trace_set
from app.tracing.schemas import TraceIn
from seed import play
from tests.seed.journal import evenings, lines

A_WEDNESDAY = date(2026, 6, 10)


def test_the_same_seed_makes_the_same_book_on_either_database(
    engine: Engine, other_engine: Engine, settings: Settings, house: Settings
) -> None:
    here = play(engine, settings, last_day=A_WEDNESDAY, days=20)

    there = play(other_engine, house, last_day=A_WEDNESDAY, days=20)

    assert lines(engine) == lines(other_engine)
    assert here == there


def test_another_seed_makes_another_book(
    engine: Engine, other_engine: Engine, house: Settings
) -> None:
    play(engine, house, last_day=A_WEDNESDAY, days=2)

    play(other_engine, house, last_day=A_WEDNESDAY, days=2, seed=2)

    assert lines(engine) != lines(other_engine)


def test_only_the_dates_depend_on_the_day_it_ends(
    engine: Engine, other_engine: Engine, house: Settings
) -> None:
    new_year = date(2026, 1, 9)  # a week after days on which nobody works

    here = play(engine, house, last_day=A_WEDNESDAY, days=5)
    there = play(other_engine, house, last_day=new_year, days=5)

    assert here.worth == there.worth
    assert (here.last, there.last) == (A_WEDNESDAY, new_year)
    assert [_what(line) for line in lines(engine)] == [_what(line) for line in lines(other_engine)]


def _what(line: tuple[object, ...]) -> tuple[object, object, str]:
    """Leave of a line who wrote what kind of entry, and which lines of the book it wrote."""
    members = line._asdict()  # type: ignore[attr-defined]
    return members["kind"], members["who"], str(members["facts"]).partition('"said"')[0]


def test_forty_days_leave_a_sound_book_and_account_for_every_gram(
    engine: Engine, settings: Settings, book_is_sound: Callable[[], None]
) -> None:
    told: list[tuple[int, int]] = []

    play(
        engine, settings, last_day=A_WEDNESDAY, days=40, on_day=lambda *done: told.append(done)
    )  # fmt: skip

    book_is_sound()
    assert told == [(day, 40) for day in range(41)]
    received, balance = _balance_of_all_lots(engine)
    assert balance["received_kg"] * 1000 == received
    assert balance["accounted_pct"] == 100
    assert balance["packed_left_kg"] < 20, "only bags that came back"


def _balance_of_all_lots(engine: Engine) -> tuple[int, dict[str, int]]:
    with reading(engine) as session:
        lots = col(Unit.kind) == UnitKind.LOT
        codes = list(session.scalars(select(col(Unit.code)).where(lots)))
        received = session.scalar(select(func.sum(col(Unit.made_g))).where(lots))
        traced = trace_set(session, TraceIn(units=codes))
    balance = traced["balance"]
    assert isinstance(balance, dict)
    return int(received or 0), balance


def test_the_shelves_are_bare_every_evening(engine: Engine, house: Settings) -> None:
    play(engine, house, last_day=A_WEDNESDAY, days=12)

    days = dict(evenings(engine))

    assert len(days) == 13
    assert all(not packs for packs in days.values()), days

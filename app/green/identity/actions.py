"""Settling which shipment a received lot is, and refusing one that is in the book already."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Final, NamedTuple

from app.green.identity.queries import Shipment, carriers
from app.green.identity.rules import Papers, read_papers
from app.green.identity.tables import LotIdentity
from app.green.schemas import LotIn
from app.ledger.posting import Pen
from app.shared.days import day_of
from app.shared.problems import FieldRefused, Refused
from app.standards.ico_marks import coffee_year_label, read_coffee_year

_ZONES: Final = timedelta(days=1)
"""A day as people at the origin write it may be a day ahead of ours."""


class Settled(NamedTuple):
    """What a lot's papers mean, and the parcel of its shipment that it names."""

    papers: Papers
    mate: str | None = None
    mate_id: int | None = None
    """None as long as the named lot comes in the same delivery."""


class Received(NamedTuple):
    """A lot that was just written."""

    lot_id: int
    code: str
    settled: Settled


def papers_of_asked(asked: LotIn, at: datetime) -> Papers:
    """Read the papers of a lot on its way into the book."""
    said = asked.coffee_year
    year = read_coffee_year(said) if said else None
    return read_papers(asked.ico_mark, asked.crop_year, year, asked.shipped_on, day_of(at))


def settle(
    pen: Pen, lots: Sequence[LotIn], at: datetime, gone: Collection[int] = ()
) -> list[Settled]:
    """Read the papers of a delivery; lots that are gone, since it replaces them, carry no mark.

    Raises:
        Refused: `mark-taken` for a mark that a live lot, or one before it in the delivery, has in
            the same coffee year, unless the lot names it as the same shipment; `invalid` where
            what it names is another shipment, and for days after the arrival.
    """
    papers = [papers_of_asked(lot, at) for lot in lots]
    for i, lot in enumerate(lots):
        _refuse_later(i, lot, at)
    _refuse_circles(lots)
    keys = [each.mark.key for each in papers if each.mark]
    there = carriers(pen.session, keys, gone) if keys else {}
    settled = []
    for i, lot in enumerate(lots):
        mate, mate_id = lot.same_shipment_as, None
        if mate is not None:
            mate_id = _mate_id(i, lots, papers, there)
        else:
            _refuse_taken(i, lots, papers, there)
        settled.append(Settled(papers[i], mate, mate_id))
    return settled


def _refuse_later(i: int, lot: LotIn, at: datetime) -> None:
    days = {"shipped_on": lot.shipped_on, "harvest_ended_on": lot.harvest_ended_on}
    for name, day in days.items():
        if day is not None and day > (at + _ZONES).date():
            raise FieldRefused(
                f"#/lots/{i}/{name}", f"{day} is later than the arrival on {day_of(at)}"
            )


def _refuse_circles(lots: Sequence[LotIn]) -> None:
    """Refuse lots that name one another in a circle: one of a shipment stands for itself."""
    mates = {lot.code: lot.same_shipment_as for lot in lots if lot.code is not None}
    for i, lot in enumerate(lots):
        seen = {lot.code}
        mate = lot.same_shipment_as
        while mate in mates and mate not in seen:
            seen.add(mate)
            mate = mates[mate]
        if mate is not None and mate in seen:
            raise FieldRefused(
                f"#/lots/{i}/same_shipment_as", f"{mate} comes back to itself as a parcel"
            )


def _shipment(papers: Papers) -> Shipment | None:
    return (papers.mark.key, papers.coffee_year) if papers.mark else None


def _said(papers: Papers) -> str:
    mark = papers.mark.canonical if papers.mark else "no mark"
    return f"{mark} in the coffee year {coffee_year_label(papers.coffee_year)}"


def _mate_id(
    i: int,
    lots: Sequence[LotIn],
    papers: Sequence[Papers],
    there: Mapping[Shipment, Mapping[str, int]],
) -> int | None:
    """Find the parcel a lot names, or None where it comes beside it in this delivery.

    Raises:
        FieldRefused: for a lot that carries another mark or coffee year, or is not there.
    """
    mine, mate = _shipment(papers[i]), lots[i].same_shipment_as
    pointer = f"#/lots/{i}/same_shipment_as"
    if mine is None:
        raise FieldRefused(pointer, "this lot has no ICO mark that can be read")
    mates = there.get(mine, {})
    beside = {lot.code for j, lot in enumerate(lots) if j != i and _shipment(papers[j]) == mine}
    if mate not in mates and mate not in beside:
        raise FieldRefused(pointer, f"{mate} is no lot here with the mark {_said(papers[i])}")
    return mates.get(mate or "")


def _refuse_taken(
    i: int,
    lots: Sequence[LotIn],
    papers: Sequence[Papers],
    there: Mapping[Shipment, Mapping[str, int]],
) -> None:
    """Refuse a mark that is in the book already; one lot of a shipment need not name another."""
    mine, mark = _shipment(papers[i]), papers[i].mark
    if mine is None or mark is None:
        return
    codes = list(there.get(mine, {}))
    codes += [
        lot.code or f"lot {j + 1} of this delivery"
        for j, lot in enumerate(lots[:i])
        if _shipment(papers[j]) == mine and lot.same_shipment_as is None
    ]
    if codes:
        taken = f"the mark {_said(papers[i])} is that of {', '.join(codes[:20])}"
        raise Refused(
            "mark-taken",
            f"{taken[0].upper()}{taken[1:]}.",
            lots=codes[:50],
            ico_mark=mark.canonical,
            coffee_year=coffee_year_label(papers[i].coffee_year),
            coffee_year_from=papers[i].year_from,
            errors=[{"pointer": f"#/lots/{i}/ico_mark", "detail": taken}],
        )


def record(pen: Pen, received: Sequence[Received]) -> None:
    """Record what the papers of lots mean, once all of them are written."""
    known = {each.code: each.lot_id for each in received}
    pen.write(LotIdentity, (
        {
            "lot_id": each.lot_id,
            "mark_key": each.settled.papers.mark.key if each.settled.papers.mark else None,
            "coffee_year": each.settled.papers.coffee_year,
            "crop_start": each.settled.papers.crop.start if each.settled.papers.crop else None,
            "crop_end": each.settled.papers.crop.end if each.settled.papers.crop else None,
            "same_shipment_as_id": each.settled.mate_id or known.get(each.settled.mate or ""),
        }
        for each in received
    ))  # fmt: skip


def columns(asked: LotIn) -> dict[str, object]:
    """Name the columns of a lot that hold what was said of it beside what is printed."""
    altitude = asked.altitude
    return {
        "species": asked.species, "variety": asked.variety, "region": asked.region,
        "producer": asked.producer,
        "altitude_from": altitude.lowest if altitude else None,
        "altitude_to": altitude.highest if altitude else None,
        "altitude_unit": altitude.unit if altitude else None,
        "shipped_on": asked.shipped_on,
        "coffee_year": read_coffee_year(asked.coffee_year) if asked.coffee_year else None,
        "harvest_ended_on": asked.harvest_ended_on,
    }  # fmt: skip

"""Putting a pick list on record. It says what somebody was told to fetch and reserves nothing."""

from collections.abc import Mapping, Sequence

from sqlmodel import col

from app.green.picking.queries import choices, enough, lines
from app.green.picking.rules import Choice, Draw, LeftOut, why_left_out
from app.green.picking.schemas import PickIn, PickListIn, PickListOut
from app.green.picking.tables import PickList, PickListLine, PickListLot
from app.ledger.posting import Pen
from app.ledger.queries import units_by_code
from app.ledger.tables import UnitKind
from app.shared.db import next_number
from app.shared.mass import kg_from_grams, kg_text
from app.shared.problems import FieldRefused, Refused


def record(pen: Pen, asked: PickListIn) -> PickListOut:
    """Record the suggestion, or another choice with its reason.

    Raises:
        Refused: `insufficient-stock`; `on-hold`, `voided` for a sack somebody chose.
    """
    lots = units_by_code(pen.session, asked.lots, UnitKind.LOT)
    sacks = choices(pen.session, asked.lots)
    suggested = enough(asked.lots, sacks, asked.grams)
    draws = suggested if asked.sacks is None else _chosen(pen, asked, asked.sacks, sacks)
    as_suggested = _said(draws) == _said(suggested)
    if not as_suggested and asked.reason is None:
        raise _reason_wanted(suggested)
    said = asked.model_dump(mode="json") | {
        "sacks": _said(draws), "suggested": _said(suggested),
    }  # fmt: skip
    entry_id = pen.note("pick list", said)
    number = next_number(pen.session, col(PickList.id))
    pen.write(PickList, [{
        "id": number, "grams": asked.grams, "as_suggested": as_suggested, "reason": asked.reason,
        "entry_id": entry_id,
    }])  # fmt: skip
    pen.write(PickListLot, (
        {"pick_list_id": number, "lot_id": lots[code].id} for code in asked.lots
    ))  # fmt: skip
    pen.write(PickListLine, (
        {"pick_list_id": number, "number": line, "sack_id": draw.sack.id, "grams": draw.grams,
         "there_g": draw.sack.left_g, "location_id": draw.sack.place_id}
        for line, draw in enumerate(draws, 1)
    ))  # fmt: skip
    return PickListOut(
        id=number, lots=asked.lots, grams=asked.grams, as_suggested=as_suggested,
        reason=asked.reason, listed_at=pen.now, listed_by=pen.who,
        lines=lines(draws, pen.settings), entry=entry_id,
    )  # fmt: skip


def _said(draws: Sequence[Draw]) -> Mapping[str, int]:
    """Name grams by sack: the order in which somebody fetches them makes no other list."""
    return {draw.sack.code: draw.grams for draw in draws}


def _chosen(
    pen: Pen, asked: PickListIn, picked: Sequence[PickIn], sacks: Sequence[Choice]
) -> list[Draw]:
    """Find the sacks somebody chose, each once, of these lots and with that much in it."""
    units_by_code(pen.session, [each.sack for each in picked], UnitKind.SACK)
    known = {sack.code: sack for sack in sacks}
    draws: dict[str, Draw] = {}
    for number, each in enumerate(picked):
        where = f"#/sacks/{number}/sack"
        if each.sack in draws:
            raise FieldRefused(where, f"named twice: {each.sack}")
        sack = known.get(each.sack)
        if sack is None:
            raise FieldRefused(where, f"{each.sack} is of none of these lots")
        _refuse_left_out(sack, where, each.grams)
        draws[each.sack] = Draw(sack, each.grams)
    whole_g = sum(draw.grams for draw in draws.values())
    if whole_g != asked.grams:
        raise FieldRefused(
            "#/sacks", f"the sacks give {kg_text(whole_g)}; {kg_text(asked.grams)} are wanted"
        )
    return list(draws.values())


def _refuse_left_out(sack: Choice, where: str, grams: int) -> None:
    why = why_left_out(sack)
    if why is LeftOut.VOIDED:
        raise Refused("voided", f"sack {sack.code} was voided.", unit=sack.code)
    if why is LeftOut.HELD:
        raise Refused("on-hold", f"On hold: {sack.code}.", units=[sack.code])
    if why is LeftOut.EXTERNAL:
        raise FieldRefused(where, f"{sack.code} stands outside the house, at {sack.place}")
    if grams > sack.left_g:
        raise Refused(
            "insufficient-stock",
            f"sack {sack.code} has {kg_text(sack.left_g)} left; {kg_text(grams)} were asked.",
            unit=sack.code,
            asked_kg=kg_from_grams(grams),
            left_kg=kg_from_grams(sack.left_g),
        )


def _reason_wanted(suggested: Sequence[Draw]) -> Refused:
    said = "another choice than the suggestion needs a reason"
    return Refused(
        "invalid",
        f"#/reason: {said}",
        errors=[{"pointer": "#/reason", "detail": said}],
        suggestion=[
            {"sack": draw.sack.code, "kg": kg_from_grams(draw.grams)} for draw in suggested
        ],
    )

"""Putting a pick on record, which keeps its bags, and ending it."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import timedelta

from sqlmodel import Session, col

from app.ledger.cards import named
from app.ledger.posting import Pen
from app.ledger.queries import live, units_by_code
from app.ledger.tables import UnitKind
from app.sending.actions import CUSTOMERS
from app.sending.picking.ending import refuse_ended
from app.sending.picking.queries import left_out, pick, shortages
from app.sending.picking.rules import Short, Stock, Taken, suggest
from app.sending.picking.schemas import CancelIn, PickIn, PickOut
from app.sending.picking.stock import stocks
from app.sending.picking.tables import Pick, PickEnd, PickLine, PickWanted
from app.sending.picking.wanting import Asking, asking
from app.sending.schemas import BagsIn
from app.shared.days import day_of
from app.shared.db import next_number
from app.shared.problems import FieldRefused, Refused


def record(pen: Pen, asked: PickIn) -> PickOut:
    """Keep the suggested bags for a pick, or others with the reason.

    Raises:
        Refused: `insufficient-stock` when there are too few; `not-free`, `on-hold`, `voided` for
            bags somebody chose.
    """
    purpose = asking(pen.session, asked.lines, asked.order)
    there = stocks(pen.session, purpose.bags, pen.now)
    suggested, short = suggest(there, purpose.bags, day_of(pen.now))
    if asked.packs is None:
        _refuse_short(pen, purpose, there, short)
    taken = suggested if asked.packs is None else _chosen(pen, asked.packs, there, purpose.bags)
    as_suggested = _said(taken) == _said(suggested)
    if not as_suggested and asked.reason is None:
        raise _reason_wanted(suggested)
    said = asked.model_dump(mode="json") | {"packs": _said(taken), "suggested": _said(suggested)}
    entry_id = pen.note("pick", said)
    number = next_number(pen.session, col(Pick.id))
    pen.write(Pick, [
        {"id": number, "customer_id": _customer_id(pen.session, asked, purpose),
         "order_id": purpose.order.id if purpose.order else None,
         "as_suggested": as_suggested, "reason": asked.reason, "entry_id": entry_id,
         "kept_until": pen.now + timedelta(hours=pen.settings.pick_keeps_hours)},
    ])  # fmt: skip
    pen.write(PickWanted, (
        {"pick_id": number, "product_id": product_id, "bags": bags}
        for product_id, bags in purpose.bags.items()
    ))  # fmt: skip
    pen.write(PickLine, (
        {"pick_id": number, "number": place, "pack_id": each.stock.id, "bags": each.bags}
        for place, each in enumerate(taken, 1)
    ))  # fmt: skip
    return pick(pen.session, number, pen.settings)


def _said(taken: Sequence[Taken]) -> Mapping[str, int]:
    """Name bags by pack: the order in which somebody fetches them makes no other pick."""
    return {each.stock.code: each.bags for each in taken}


def _customer_id(session: Session, asked: PickIn, purpose: Asking) -> int | None:
    if purpose.order is not None:
        return purpose.order.customer_id
    if asked.customer is None:
        return None
    return named(session, CUSTOMERS, asked.customer, "#/customer").id


def _refuse_short(
    pen: Pen, purpose: Asking, there: Sequence[Stock], short: Sequence[Short]
) -> None:
    if not short:
        return
    said = "; ".join(
        f"of {purpose.skus[each.product_id]} {each.found} bags can be picked and {each.asked} "
        "were asked"
        for each in short
    )
    raise Refused(
        "insufficient-stock",
        f"{said[0].upper()}{said[1:]}.",
        short=[each.model_dump(mode="json") for each in shortages(short, purpose.skus)],
        left_out=[each.model_dump(mode="json") for each in left_out(there, pen.now)],
    )


def _chosen(
    pen: Pen, lines: Sequence[BagsIn], there: Sequence[Stock], wanted: Mapping[int, int]
) -> list[Taken]:
    """Find the bags somebody chose: of these products, free, and no more than are wanted."""
    units = units_by_code(
        pen.session, [line.pack for line in lines], UnitKind.PACK, UnitKind.RETURN
    )
    known = {stock.code: stock for stock in there}
    taken = []
    for place, line in enumerate(lines):
        live(units[line.pack])
        stock = known.get(line.pack)
        if stock is None:
            raise FieldRefused(
                f"#/packs/{place}/pack",
                f"{line.pack} has no bags left of a product that is wanted",
            )
        _refuse_unfree(stock, line.bags)
        taken.append(Taken(stock, line.bags))
    chosen: Counter[int] = Counter()
    for each in taken:
        chosen[each.stock.product_id] += each.bags
    for product_id, bags in chosen.items():
        if bags > wanted[product_id]:
            raise FieldRefused(
                "#/packs", f"{bags} bags were chosen where {wanted[product_id]} are wanted"
            )
    return taken


def _refuse_unfree(stock: Stock, bags: int) -> None:
    if stock.held:
        raise Refused("on-hold", f"On hold: {stock.code}.", units=[stock.code])
    if bags > stock.left:
        raise Refused(
            "insufficient-stock",
            f"{stock.code} has {stock.left} bags left; {bags} were asked.",
            unit=stock.code,
            asked_bags=bags,
            left_bags=stock.left,
        )
    if bags > stock.free:
        raise Refused(
            "not-free",
            f"{stock.code} has {stock.left} bags left, and {stock.kept} are kept for other picks; "
            f"{stock.free} are free, {bags} were asked.",
            unit=stock.code,
            asked_bags=bags,
            left_bags=stock.left,
            free_bags=stock.free,
        )


def _reason_wanted(suggested: Sequence[Taken]) -> Refused:
    said = "other bags than the suggestion need a reason"
    return Refused(
        "invalid",
        f"#/reason: {said}",
        errors=[{"pointer": "#/reason", "detail": said}],
        suggestion=[{"pack": each.stock.code, "bags": each.bags} for each in suggested],
    )


def cancel(pen: Pen, number: int, asked: CancelIn) -> PickOut:
    """Give the bags of a pick free again, with the reason."""
    refuse_ended(pen.session, number)
    entry_id = pen.note("pick cancelled", {"pick": number, **asked.model_dump(mode="json")})
    pen.write(PickEnd, [
        {"pick_id": number, "dispatch_id": None, "reason": asked.reason, "entry_id": entry_id},
    ])  # fmt: skip
    return pick(pen.session, number, pen.settings)

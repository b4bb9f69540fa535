"""Booking what went over the counter on a day."""

from collections import Counter

from app.ledger.cards import named
from app.ledger.corrections.replacing import in_place_of
from app.ledger.posting import Pen, Posting
from app.ledger.tables import UnitKind
from app.sending.actions import CUSTOMERS
from app.sending.cases.standing import Leaving
from app.sending.loading import Sending, load_of, send
from app.sending.sales.rules import moment_of, newest_day
from app.sending.sales.schemas import SaleIn, SaleOut
from app.sending.sales.tables import Sale
from app.sending.tables import CustomerKind
from app.shared.problems import FieldRefused


def sell(pen: Pen, asked: SaleIn) -> SaleOut:
    """Book the bags that a counter sold on a day as a dispatch to consumers.

    Raises:
        Refused: `not-free`, and what posting refuses.
    """
    shop = named(pen.session, CUSTOMERS, asked.shop, "#/shop")
    if shop.kind != CustomerKind.CONSUMERS:
        raise FieldRefused(
            "#/shop",
            f"{shop.name} is a business, known by name: book what it gets at POST /dispatches",
        )
    newest = newest_day(pen.now)
    if asked.sold_on > newest:
        raise FieldRefused("#/sold_on", f"{asked.sold_on} has not begun anywhere yet")
    loose = {line.pack: line.bags for line in asked.lines}
    posting = Posting("sale", moment_of(asked.sold_on, pen.now), asked.model_dump(mode="json"))
    in_place_of(pen, posting, asked, UnitKind.DISPATCH)
    load = load_of(pen, posting, loose, Leaving([], [], Counter()))
    born = send(pen, posting, Sending(asked.code, shop), load)
    pen.write(Sale, [{"dispatch_id": born.id, "sold_on": asked.sold_on}])
    return SaleOut(
        code=born.code,
        shop=shop.name,
        sold_on=asked.sold_on,
        grams=born.made_g,
        left_g=born.made_g,
        voided=False,
        lines=load.lines,
    )

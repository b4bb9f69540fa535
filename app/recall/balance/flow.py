"""A mass balance as a flow: what came in on the left, where it is or went on the right."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from app.recall.balance.schemas import BalanceOfPeriod, BalanceOfUnit, TermOut
from app.shared.speech import PLAIN, Speech
from app.tracing.flow.movements import UNEXPLAINED
from app.tracing.flow.rules import Box, Flow, Gathered, Movement, Side, came_in, end, flow_of
from app.tracing.spread import SCALE

HOUSE: Final = "house"
"""All coffee that is here: no unit."""
Terms = Iterable[tuple[str, int]]


def flow_of_unit(balance: BalanceOfUnit) -> Flow:
    """Show one unit, with the units that count as part of it."""
    box = Box(Side.UNITS, balance.of.kind, balance.of.code)
    went = [("left", balance.left_g), *_terms(balance.terms)]
    return _flow(box, [_term(balance.came_in)], [*went, (UNEXPLAINED, balance.difference_g)])


def flow_of_period(balance: BalanceOfPeriod, speech: Speech = PLAIN) -> Flow:
    """Show all coffee in the house."""
    went = [("closing_stock", balance.closing_g), *_terms(balance.went_out)]
    return _flow(
        Box(Side.UNITS, HOUSE, speech.gettext("The house")),
        [("opening_stock", balance.opening_g), *_terms(balance.came_in)],
        [*went, (UNEXPLAINED, balance.difference_g)],
    )


def _terms(terms: Sequence[TermOut]) -> Terms:
    return map(_term, terms)


def _term(term: TermOut) -> tuple[str, int]:
    return term.term, term.grams


def _flow(box: Box, came: Terms, went: Terms) -> Flow:
    movements = [*_moved(box, came, into=True), *_moved(box, went, into=False)]
    return flow_of(
        movements,
        Gathered({0: box}, {} if box.stage == HOUSE else {0: box.name}, [0]),
        suspects=False,
    )


def _moved(box: Box, terms: Terms, *, into: bool) -> Iterator[Movement]:
    """Let every term flow the way it went: what is below zero went the other way."""
    for term, grams in terms:
        amount = SCALE * abs(grams)
        if (grams > 0) == into:
            yield Movement(came_in(term, box.stage), 0, amount, 0)
        else:
            yield Movement(0, end(term), amount, 0)

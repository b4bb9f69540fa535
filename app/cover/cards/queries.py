"""Where planning cards stand, and finding those of one sort."""

import re
from collections import defaultdict
from collections.abc import Mapping

from sqlalchemy import select
from sqlmodel import Session, col

from app.cover.cards.schemas import PlanningCardOut
from app.cover.cards.tables import PlanningCard
from app.ledger.cards import Shelf
from app.shared.names import fold_name

PLANNING_CARDS = Shelf(
    "planning card", PlanningCard, PlanningCardOut, key="item", folded="item_key"
)


def tidy(item: str) -> str:
    """Write an item without spaces after its colon, codes in capitals."""
    by, _, name = re.sub(r":\s*", ":", item, count=1).partition(":")
    return f"{by}:{name.upper() if by in {'origin', 'product'} else name}"


PlanningCards = Mapping[str, Mapping[str, PlanningCard]]
"""Cards by what they are for, and by folded name."""


def planning_cards(session: Session) -> PlanningCards:
    """Read all cards."""
    found: defaultdict[str, dict[str, PlanningCard]] = defaultdict(dict)
    for card in session.scalars(select(PlanningCard).order_by(col(PlanningCard.id))):
        by, _, name = card.item.partition(":")
        found[by][fold_name(name)] = card
    return found

"""Where planning cards stand, and finding those of one sort."""

import re
from collections.abc import Mapping

from sqlalchemy import select
from sqlmodel import Session

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


def planning_cards(session: Session, by: str) -> Mapping[str, PlanningCard]:
    """Read the cards of one sort, by folded name."""
    cards = session.scalars(select(PlanningCard)).all()
    split = [(card.item.partition(":"), card) for card in cards]
    return {fold_name(name): card for (kind, _, name), card in split if kind == by}

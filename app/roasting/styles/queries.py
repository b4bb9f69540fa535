"""Reading the versions a style had."""

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.cards import card_at
from app.ledger.tables import Entry
from app.roasting.styles.actions import STYLES
from app.roasting.styles.tables import StyleVersion
from app.shared.answers import read_json
from app.shared.paging import Page, PageOf, turn_page
from app.shared.times import text


def version_page(session: Session, page: Page, name: str) -> PageOf:
    """Read every version of a style, the first one first."""
    style = card_at(session, STYLES, name)
    statement = (
        select(
            col(StyleVersion.version),
            col(StyleVersion.said),
            col(Entry.recorded_at),
            col(Entry.who),
        )
        .join(Entry, col(Entry.id) == col(StyleVersion.entry_id))
        .where(col(StyleVersion.style_id) == style.id)
    )
    rows, following = turn_page(session, statement, col(StyleVersion.version), page)
    return [
        {
            "version": row.version, "style": read_json(row.said), "since": text(row.recorded_at),
            "changed_by": row.who,
        }
        for row in rows
    ], following  # fmt: skip

"""What has no width does not tell two names apart."""

from unicodedata import category, normalize

import sqlalchemy as sa
from alembic import op

revision = "0029"
down_revision = "0028"
branch_labels = None
depends_on = None

NAMED = ("supplier", "customer", "crate_kind", "style", "recipe")
"""Tables whose cards are found by name."""


def upgrade() -> None:
    """Bring names to the new form; of two that are alike now the later one keeps its old form.

    It is still found by its number.
    """
    for name in NAMED:
        _fold(name)


def _fold(name: str) -> None:
    table = sa.table(name, sa.column("id"), sa.column("name"), sa.column("name_key"))
    book = op.get_bind()
    rows = book.execute(
        sa.select(table.c.id, table.c.name, table.c.name_key).order_by(table.c.id)
    ).all()
    taken = {row.name_key for row in rows}
    for row in rows:
        seen = "".join(each for each in row.name if category(each) != "Cf")
        key = normalize("NFC", normalize("NFD", " ".join(seen.split())).casefold())
        if seen != row.name and key not in taken:
            taken.add(key)
            book.execute(sa.update(table).where(table.c.id == row.id).values(name_key=key))

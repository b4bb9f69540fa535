"""Tokens that end on a day."""

import sqlalchemy as sa
from alembic import op

revision = "0026"
down_revision = "0025"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Give tokens an end; those that there are have none."""
    op.add_column("token", sa.Column("expires_at", sa.DateTime(timezone=True), nullable=True))

"""What contracts say of when they were agreed and what they are for."""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Widen contracts."""
    op.add_column("purchase_contract", sa.Column("ordered_on", sa.Date()))
    op.add_column("purchase_contract", sa.Column("origin", sa.String(length=2)))
    op.add_column("purchase_contract", sa.Column("component", sa.String(length=200)))

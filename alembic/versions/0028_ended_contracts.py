"""From when on nothing more is expected of a contract."""

import sqlalchemy as sa
from alembic import op

revision = "0028"
down_revision = "0027"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add it to contracts."""
    op.add_column("purchase_contract", sa.Column("ended_on", sa.Date()))

"""Planning cards."""

import sqlalchemy as sa
from alembic import op

revision = "0023"
down_revision = "0022"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "planning_card",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("item", sa.String(length=220), nullable=False),
        sa.Column("item_key", sa.String(length=660), nullable=False),
        sa.Column("service_milli", sa.Integer()),
        sa.Column("lead_time_days", sa.Integer()),
        sa.Column("lead_time_sd_days", sa.String(length=40)),
        sa.Column("review_days", sa.Integer()),
        sa.Column("harvest_bound", sa.Boolean(), nullable=False),
        sa.Column("order_unit", sa.String(length=10)),
        sa.Column("unit_g", sa.BigInteger()),
        sa.Column("note", sa.Text()),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("item_key"),
    )

"""Sessions at the pages, and what a person chose for them."""

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table of sessions, and room for choices; the passwords of people stay."""
    op.create_table(
        "web_session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("began_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["user_id"], ["user_account.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("sha256"),
    )
    op.create_index("ix_web_session_user_id", "web_session", ["user_id"])
    for column in (
        sa.Column("password_set_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("language", sa.String(length=10), nullable=True),
        sa.Column("mass_unit", sa.String(length=2), nullable=True),
    ):
        op.add_column("user_account", column)

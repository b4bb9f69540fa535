"""Recipes of blends."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table and let a blend name a recipe."""
    _recipes()
    # Written out, since Alembic adds the reference by a second statement that SQLite does not know.
    op.execute("ALTER TABLE blend ADD COLUMN recipe_id INTEGER REFERENCES recipe (id)")
    op.add_column("blend", sa.Column("recipe_version", sa.Integer()))
    op.add_column("blend", sa.Column("components", sa.Text()))
    op.add_column("blend", sa.Column("off_recipe_reason", sa.Text()))


def _recipes() -> None:
    op.create_table(
        "recipe",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("name_key", sa.String(length=600), nullable=False),
        sa.Column("components", sa.JSON(), nullable=False),
        sa.Column("tolerance_milli", sa.Integer(), nullable=True),
        sa.Column("rework_milli", sa.Integer(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name_key"),
    )

"""Colours of roasts, and what a tasting decides."""

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""

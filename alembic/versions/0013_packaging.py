"""Packaging materials, and dates on bags."""

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""

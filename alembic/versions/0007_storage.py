"""The tree of places, pick lists and stock counts."""

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Nothing yet."""

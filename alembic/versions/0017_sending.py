"""Cases, crates and sales over the counter."""

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""

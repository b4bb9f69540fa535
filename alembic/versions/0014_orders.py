"""Orders of customers, planned batches and what they reserve."""

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""

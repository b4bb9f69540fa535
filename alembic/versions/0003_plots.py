"""Plots and evidence: where lots grew, statements of due diligence, the firm's role."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = ("plot_file", "due_diligence", "due_diligence_statement", "delivery_role")
"""Tables whose rows are never changed and never deleted."""

CONTACT = {"address": 500, "email": 254, "web": 500}
"""What a supplier's card gets, and its longest."""


def upgrade() -> None:
    """Make the tables, then guard them."""
    for name, longest in CONTACT.items():
        op.add_column("supplier", sa.Column(name, sa.String(length=longest), nullable=True))
    _plot_files()
    _due_diligence()
    _roles()
    if op.get_bind().dialect.name == "postgresql":
        _guard_postgresql()
    else:
        _guard_sqlite()


def _plot_files() -> None:
    op.create_table(
        "plot_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("points", sa.Integer(), nullable=False),
        sa.Column("outlines", sa.Integer(), nullable=False),
        sa.Column("area_m2", sa.BigInteger(), nullable=False),
        sa.Column("countries", sa.String(length=1000), nullable=False),
        sa.ForeignKeyConstraint(["lot_id"], ["green_lot.unit_id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_plot_file_lot_id", "plot_file", ["lot_id", "id"])
    op.create_index("ix_plot_file_entry_id", "plot_file", ["entry_id"])


def _due_diligence() -> None:
    op.create_table(
        "due_diligence",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("hs_code", sa.String(length=6), nullable=True),
        sa.Column("produced_from", sa.Date(), nullable=True),
        sa.Column("produced_to", sa.Date(), nullable=True),
        sa.Column("not_available", sa.String(length=2000), nullable=True),
        sa.CheckConstraint(
            "(produced_from IS NULL) = (produced_to IS NULL)", name="ck_due_diligence_whole_period"
        ),
        sa.ForeignKeyConstraint(["lot_id"], ["green_lot.unit_id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_due_diligence_lot_id", "due_diligence", ["lot_id", "id"])
    op.create_index("ix_due_diligence_entry_id", "due_diligence", ["entry_id"])
    op.create_table(
        "due_diligence_statement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("due_diligence_id", sa.Integer(), nullable=False),
        sa.Column("reference", sa.String(length=14), nullable=False),
        sa.Column("verification", sa.String(length=35), nullable=True),
        sa.Column("own_reference", sa.String(length=50), nullable=True),
        sa.Column("simplified", sa.Boolean(), nullable=False),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["due_diligence_id"], ["due_diligence.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    for column in ("due_diligence_id", "reference"):
        name = f"ix_due_diligence_statement_{column}"
        op.create_index(name, "due_diligence_statement", [column])


def _roles() -> None:
    op.create_table(
        "delivery_role",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("delivery_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("role", sa.String(length=10), nullable=False),
        sa.Column("from_operator", sa.Boolean(), nullable=True),
        sa.ForeignKeyConstraint(["delivery_id"], ["delivery.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_delivery_role_delivery_id", "delivery_role", ["delivery_id", "id"])
    op.create_index("ix_delivery_role_entry_id", "delivery_role", ["entry_id"])


def _guard_sqlite() -> None:
    for table in ADDED_TO_ONLY:
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} BEGIN "
                f"SELECT RAISE(ABORT, '{table} is append-only'); END"
            )
        # INSERT OR REPLACE deletes what stands in its way without asking the triggers above.
        op.execute(
            f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "  # noqa: S608 - our names
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE id = NEW.id) BEGIN "
            f"SELECT RAISE(ABORT, '{table} is append-only'); END"
        )


def _guard_postgresql() -> None:
    for table in ADDED_TO_ONLY:
        op.execute(
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        op.execute(
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )

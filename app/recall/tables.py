"""Recall cases: what was decided, the scope as it was frozen, and what consignees reported.

Every row stays as it was written. What a case is now is read off its newest rows. Words that may
name a person stand here and never in the journal.
"""

from enum import StrEnum

from sqlalchemy import BigInteger, Boolean, CheckConstraint, Column, Index, Integer, String, Text
from sqlmodel import Field, SQLModel

from app.recall.rules import CaseKind, Step
from app.tracing.schemas import Direction


class TriggerKind(StrEnum):
    """What set a case off."""

    COMPLAINT = "complaint"
    LAB_RESULT = "lab_result"
    SUPPLIER_NOTICE = "supplier_notice"
    READING = "reading"
    PLACE_AND_TIME = "place_and_time"
    MACHINE_AND_TIME = "machine_and_time"
    PACKAGING_LOT = "packaging_lot"
    DRILL = "drill"
    OTHER = "other"


class How(StrEnum):
    """By what a consignee was told."""

    EMAIL = "email"
    PHONE = "phone"
    LETTER = "letter"
    VISIT = "visit"
    OTHER = "other"


class RecallCase(SQLModel, table=True):
    """A case, or a drill, as it was opened."""

    __tablename__ = "recall_case"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    code: str = Field(max_length=32, unique=True)
    drill: bool = Field(sa_column=Column(Boolean, nullable=False))
    trigger_kind: TriggerKind = Field(sa_column=Column(String(20), nullable=False))
    trigger_text: str = Field(sa_column=Column(Text, nullable=False))
    hazard: str | None = Field(default=None, sa_column=Column(Text))
    entry_id: int = Field(foreign_key="entry.id", index=True)


class RecallStep(SQLModel, table=True):
    """Something was decided or done about a case; `kind` and class from then on."""

    __tablename__ = "recall_step"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    case_id: int = Field(foreign_key="recall_case.id")
    step: Step = Field(sa_column=Column(String(12), nullable=False))
    kind: CaseKind = Field(sa_column=Column(String(12), nullable=False))
    jurisdiction: str | None = Field(default=None, max_length=40)
    recall_class: str | None = Field(default=None, max_length=40)
    reason: str | None = Field(default=None, sa_column=Column(Text))
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (Index("ix_recall_step_case_id", "case_id", "id"),)


class RecallScope(SQLModel, table=True):
    """A scope as it was frozen: everything the records connected at one entry of the journal."""

    __tablename__ = "recall_scope"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    case_id: int = Field(foreign_key="recall_case.id")
    number: int
    """1 for the first of its case."""
    direction: Direction = Field(sa_column=Column(String(8), nullable=False))
    starts: str = Field(sa_column=Column(Text, nullable=False))
    """Every start asked for so far, as JSON."""
    at_entry: int = Field(foreign_key="entry.id")
    """The last entry it knew."""
    balance: str = Field(sa_column=Column(Text, nullable=False))
    """Grams by figure as the trace accounts for them, as JSON."""
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (Index("ix_recall_scope_case_id", "case_id", "number", unique=True),)


class RecallScopeUnit(SQLModel, table=True):
    """A unit in a frozen scope, as it was then."""

    __tablename__ = "recall_scope_unit"

    scope_id: int = Field(primary_key=True, foreign_key="recall_scope.id")
    unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    place: str = Field(max_length=10)
    """`start`, `reached`, or `contact` for what may only have touched it."""
    left_g: int = Field(sa_type=BigInteger)
    suspect_g: int | None = Field(default=None, sa_type=BigInteger)
    """None for possible contact, of which no mass is known."""
    bags: int | None = None
    bags_left: int | None = None
    contact: str | None = Field(default=None, sa_column=Column(Text))
    """Where and after what possible contact was, as JSON."""

    __table_args__ = (Index("ix_recall_scope_unit_unit_id", "unit_id"),)


class RecallScopeLine(SQLModel, table=True):
    """Bags of one pack in one dispatch that a frozen scope had reached."""

    __tablename__ = "recall_scope_line"

    scope_id: int = Field(primary_key=True, foreign_key="recall_scope.id")
    dispatch_id: int = Field(primary_key=True, foreign_key="dispatch.unit_id")
    pack_id: int = Field(primary_key=True, foreign_key="unit.id")
    customer_id: int = Field(foreign_key="customer.id")
    place: str = Field(max_length=10)
    """`reached`, or `contact`."""
    bags: int
    grams: int = Field(sa_type=BigInteger)
    suspect_g: int | None = Field(default=None, sa_type=BigInteger)
    returned_bags: int


class RecallStop(SQLModel, table=True):
    """A stop: the hold it placed, or none where nothing new was in the house."""

    __tablename__ = "recall_stop"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    case_id: int = Field(foreign_key="recall_case.id", index=True)
    scope_id: int = Field(foreign_key="recall_scope.id")
    hold_id: int | None = Field(default=None, foreign_key="hold.id")
    possible_contact: bool = Field(sa_column=Column(Boolean, nullable=False))
    entry_id: int = Field(foreign_key="entry.id", index=True)


class RecallNotice(SQLModel, table=True):
    """A consignee was told."""

    __tablename__ = "recall_notice"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    case_id: int = Field(foreign_key="recall_case.id")
    customer_id: int = Field(foreign_key="customer.id")
    how: How = Field(sa_column=Column(String(8), nullable=False))
    note: str | None = Field(default=None, sa_column=Column(Text))
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (Index("ix_recall_notice_case_id", "case_id", "customer_id"),)


class RecallAcknowledgement(SQLModel, table=True):
    """A consignee said that the notice came."""

    __tablename__ = "recall_acknowledgement"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    case_id: int = Field(foreign_key="recall_case.id")
    customer_id: int = Field(foreign_key="customer.id")
    note: str | None = Field(default=None, sa_column=Column(Text))
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (Index("ix_recall_acknowledgement_case_id", "case_id", "customer_id"),)


class RecallReport(SQLModel, table=True):
    """What a consignee says became of its bags. Of two reports the later counts; both stay."""

    __tablename__ = "recall_report"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    case_id: int = Field(foreign_key="recall_case.id")
    customer_id: int = Field(foreign_key="customer.id")
    held_bags: int
    returned_bags: int
    destroyed_bags: int
    sold_bags: int
    booked_back_bags: int
    """What the book had taken back from this consignee when it reported."""
    note: str | None = Field(default=None, sa_column=Column(Text))
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (
        CheckConstraint(
            "held_bags >= 0 AND returned_bags >= 0 AND destroyed_bags >= 0 AND sold_bags >= 0",
            name="ck_recall_report_bags",
        ),
        Index("ix_recall_report_case_id", "case_id", "customer_id"),
    )

"""What the API reads and answers about recall cases."""

from typing import Annotated, Generic, Self, TypeVar

from pydantic import Field, StrictBool, StringConstraints, model_validator

from app.ledger.schemas import Asked, Told, Why
from app.ledger.tables import UnitKind
from app.recall.rules import CaseKind, Step
from app.recall.starts import StartIn
from app.recall.tables import TriggerKind
from app.shared.codes import NewCode
from app.shared.mass import KgOut
from app.shared.paging import Items
from app.shared.times import MomentOut
from app.standards.recalls import US, UsClass
from app.tracing.flow.schemas import FlowOut
from app.tracing.schemas import Direction

T = TypeVar("T")
Word = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=40)]


class CautionedItems(Items[T], Generic[T]):
    """A page of a list, with what a record cannot say."""

    caution: str


class ClassIn(Asked):
    """A class, which means something only in its jurisdiction."""

    jurisdiction: Word
    named: Word = Field(alias="class")

    @model_validator(mode="after")
    def _known(self) -> Self:
        if self.jurisdiction.upper() == US and self.named not in set(UsClass):
            raise ValueError("the classes of the United States are I, II and III")
        return self


class ClassOut(Told):
    jurisdiction: str
    named: str = Field(alias="class")


class TriggerIn(Asked):
    kind: TriggerKind
    text: Why


class CaseIn(Asked):
    code: NewCode | None = None
    kind: CaseKind
    classed: ClassIn | None = Field(default=None, alias="class")
    trigger: TriggerIn
    hazard: Why | None = None
    start: StartIn | None = None
    """When left out, the case waits for its scope."""


class ScopeIn(Asked):
    start: StartIn
    """What the case starts at as well; what it started at before stays."""


class DecisionIn(Asked):
    kind: CaseKind | None = None
    classed: ClassIn | None = Field(default=None, alias="class")
    reason: Why

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.kind is None and self.classed is None:
            raise ValueError("name the kind or the class that was decided on")
        return self


class StopIn(Asked):
    reason: Why | None = None
    possible_contact: StrictBool | None = None
    """Whether possible contact is stopped too; as the roastery has set when left out."""


class ReasonIn(Asked):
    reason: Why


class StepOut(Told):
    step: Step
    kind: CaseKind
    classed: ClassOut | None = Field(alias="class")
    reason: str | None
    at: MomentOut
    by: str
    entry: int


class KindTotal(Told):
    """Everything of one kind in a scope."""

    kind: UnitKind
    units: int
    made_g: KgOut = Field(alias="made_kg")
    left_g: KgOut = Field(alias="left_kg")
    suspect_g: KgOut = Field(alias="suspect_kg")
    bags: int | None
    bags_left: int | None


class ScopeBrief(Told):
    number: int
    direction: Direction
    at_entry: int
    """The last entry of the journal that it knew."""
    frozen_at: MomentOut
    frozen_by: str
    units: int
    possible_contact: int
    kinds: list[KindTotal]
    """Without possible contact."""
    customers: int
    sent_bags: int
    sent_g: KgOut = Field(alias="sent_kg")


class ScopedUnit(Told):
    code: str
    kind: UnitKind
    start: bool
    made_g: KgOut = Field(alias="made_kg")
    left_g: KgOut = Field(alias="left_kg")
    suspect_g: KgOut | None = Field(alias="suspect_kg")
    """Pro rata; null of possible contact, of which no mass is known."""
    bags: int | None
    bags_left: int | None


class ContactUnit(ScopedUnit):
    machine: str | None
    """Null on what was made from a run."""
    place: str | None
    """The silo, hopper or tray where it was, if that was it."""
    after: str | None


class SentDispatch(Told):
    code: str
    dispatched_at: MomentOut
    bags: int
    grams: KgOut = Field(alias="kg")
    returned_bags: int


class Consignee(Told):
    """Somebody who was sent bags of the scope."""

    customer: str
    contact: str | None
    """As it stands on the card now."""
    possible_contact: bool
    """Whether only what may have touched suspect coffee was sent there."""
    dispatches: list[SentDispatch]
    bags: int
    grams: KgOut = Field(alias="kg")
    suspect_g: KgOut | None = Field(alias="suspect_kg")
    returned_bags: int


class ScopeOut(ScopeBrief):
    starts: list[dict[str, object]]
    units_listed: list[ScopedUnit]
    contact_listed: list[ContactUnit]
    consignees: list[Consignee]
    balance: dict[str, KgOut] = Field(alias="balance_kg")
    """Where the suspect coffee was, pro rata: the other figures add up to `received`."""
    caution: str


class CaseLine(Told):
    code: str
    drill: bool
    kind: CaseKind
    state: Step
    trigger: TriggerKind
    opened_at: MomentOut
    opened_by: str


class CaseOut(CaseLine):
    classed: ClassOut | None = Field(alias="class")
    trigger_text: str
    hazard: str | None
    steps: list[StepOut]
    scope: ScopeBrief | None
    """The newest one that was frozen."""
    duty: str | None
    """What the law of the European Union and Great Britain asks; null without a scope."""
    caution: str


class GoneUnit(Told):
    code: str
    kind: UnitKind
    voided: bool


class ChangedUnit(Told):
    code: str
    kind: UnitKind
    left_then_g: KgOut = Field(alias="left_then_kg")
    left_now_g: KgOut = Field(alias="left_now_kg")


class SentLine(Told):
    customer: str
    contact: str | None
    dispatch: str
    dispatched_at: MomentOut
    bags: int
    grams: KgOut = Field(alias="kg")


class ReturnedSince(Told):
    customer: str
    dispatch: str
    bags: int


class ChangesOut(Told):
    code: str
    scope: int
    frozen_at: MomentOut
    frozen_at_entry: int
    now_at_entry: int
    same: bool
    came_in: list[ScopedUnit]
    """What the start reaches now and did not then, possible contact too."""
    dropped_out: list[GoneUnit]
    """What it reached then and does not now: voided, or reached by something voided."""
    changed: list[ChangedUnit]
    sent_since: list[SentLine]
    returned_since: list[ReturnedSince]
    not_held: list[str]
    """In the house now and under no hold: before a stop, after a release, or come back since."""
    caution: str


class StoppedUnit(Told):
    code: str
    kind: UnitKind
    location: str | None
    left_g: KgOut = Field(alias="left_kg")
    bags_left: int | None
    possible_contact: bool


class StopOut(Told):
    code: str
    state: Step
    rehearsed: bool
    """True in a drill: nothing is held."""
    hold: int | None
    """The hold that was placed; null where nothing new was found in the house."""
    held: list[StoppedUnit]
    """What it holds and has anything left. What is used up is held too: a void could fill it."""
    held_units: int
    held_g: KgOut = Field(alias="held_kg")
    held_bags: int
    held_before: int
    """Units that a stop of this case had held before."""
    left_the_house: list[Consignee]
    scope: int
    at_entry: int
    stopped_at: MomentOut
    stopped_by: str
    caution: str


class LogLine(Told):
    id: int
    """The entry of the journal."""
    what: str
    customer: str | None
    said: str | None
    at: MomentOut
    recorded_at: MomentOut
    by: str


class ClosedOut(CaseOut):
    open_points: list[str]
    """What was not done when it was closed."""


class FlowOfScope(FlowOut):
    """Where the coffee of a frozen scope went."""

    code: str
    scope: int
    direction: Direction
    at_entry: int

"""What the API answers about the condition of lots and places."""

from typing import Literal

from pydantic import Field

from app.green.condition.rules import Pull
from app.green.readings.rules import Band
from app.ledger.schemas import Told
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut
from app.shared.times import MomentOut


class LotMoisture(Told):
    """The newest moisture of a lot or any of its sacks, and what is known of the lot today."""

    value_pct: NumberOut | None
    band: Band
    """Of that reading alone."""
    status: Band
    """Of the lot today: unknown when it was not measured for too long."""
    taken_at: MomentOut | None
    overdue: bool


class NewestReading(Told):
    """The newest reading of its kind."""

    reading: int
    subject: str
    value: NumberOut
    band: Band
    taken_at: MomentOut
    method: str
    instrument: str | None
    overdue: bool


class PointOut(Told):
    reading: int
    value_pct: NumberOut
    taken_at: MomentOut
    trusted: bool
    """Whether the instrument was neither overdue nor failed; others count for no drift."""


class DriftOut(Told):
    """How far moisture went since the first reading by the same method."""

    comparable: bool
    method: str
    from_pct: NumberOut
    from_at: MomentOut
    to_pct: NumberOut
    to_at: MomentOut
    points: NumberOut | None
    days: int
    alarm: bool
    detail: str


class TrendOut(Told):
    """Moistures of one lot or sack by one method; methods are never mixed."""

    subject: str
    method: str
    points: list[PointOut]
    drift: DriftOut | None


class ExplainedMass(Told):
    """What a change of moisture alone does to a mass. It is shown and never booked."""

    from_pct: NumberOut
    to_pct: NumberOut
    received_g: KgOut = Field(alias="received_kg")
    received_change_g: KgOut = Field(alias="received_change_kg")
    on_hand_g: KgOut = Field(alias="on_hand_kg")
    on_hand_change_g: KgOut = Field(alias="on_hand_change_kg")
    never_booked: Literal[True] = True


class SacksTogether(Told):
    """The moisture of the sacks that were read one by one, weighted by their mass."""

    sacks: int
    kg: KgOut
    method: str
    moisture_pct: NumberOut


class RoomAdvice(Told):
    """Where a room pulls a lot. Advice: no measurement, and no reason to let coffee go."""

    location: str
    measured_at: str | None
    """The place whose climate was read: the location itself, or the nearest it is part of."""
    sacks: int
    relative_humidity_pct: NumberOut | None
    temperature_c: NumberOut | None
    taken_at: MomentOut | None
    """When the older of the two was read."""
    equilibrium_pct: NumberOut | None
    pull: Pull | None
    detail: str
    advice_only: Literal[True] = True


class LotCondition(Told):
    lot: str
    status: Band
    overdue: bool
    why: list[str]
    moisture: NewestReading | None
    water_activity: NewestReading | None
    drift: DriftOut | None
    """Of the lot itself since its first reading by the method of its newest."""
    trends: list[TrendOut]
    explained: ExplainedMass | None
    sacks_together: SacksTogether | None
    rooms: list[RoomAdvice]


class WatchedLot(Told):
    lot: str
    name: str
    status: Band
    overdue: bool
    why: list[str]
    value_pct: NumberOut | None
    water_activity: NumberOut | None
    taken_at: MomentOut | None
    on_hand_g: KgOut = Field(alias="on_hand_kg")
    held: bool


class WatchedPlace(Told):
    location: str
    status: Band
    overdue: bool
    why: list[str]
    relative_humidity_pct: NumberOut | None
    temperature_c: NumberOut | None
    taken_at: MomentOut
    """When the newest of its readings was taken."""
    damp_since: MomentOut | None
    """Since when every reading is above the green humidity."""


class EquilibriumOut(Told):
    """What parchment coffee drifts towards in air of some humidity and warmth."""

    temperature_c: NumberOut
    relative_humidity_pct: NumberOut
    moisture_pct: NumberOut
    """Wet basis."""
    dry_basis_pct: NumberOut
    standard_error_points: NumberOut
    """Of the model on its own data, on dry basis."""
    model: str
    limits: str
    advice_only: Literal[True] = True

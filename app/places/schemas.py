"""What the API reads and answers about places."""

import hashlib
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, StrictBool, StringConstraints, model_validator

from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Codes, Told
from app.ledger.tables import UnitKind
from app.places.tables import PlaceKind
from app.shared.codes import Code, PlaceCode
from app.shared.mass import KgIn, KgOut
from app.shared.times import MomentIn, MomentOut

Site = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]


Runs = Annotated[int, Field(ge=1, le=100, strict=True)]
"""How many runs or tippings can hold a rest of the one before them."""
Hours = Annotated[int, Field(ge=1, le=8760, strict=True)]


class LocationIn(Asked):
    code: PlaceCode
    kind: PlaceKind
    capacity_g: KgIn | None = Field(default=None, alias="capacity_kg")
    site: Site | None = None
    parent: PlaceCode | None = None
    """The place it is part of."""
    above_shoulder: StrictBool | None = None
    """Whether sacks are lifted above the shoulder there; null: as the place it is part of."""
    carry_over_runs: Runs | None = None
    """Of a silo, hopper or tray: how many tippings after what was there can hold a rest of it."""
    carry_over_hours: Hours | None = None
    """For how long they can; without a limit in time when left out."""


class LocationChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"kind", "carry_over_runs"})

    kind: PlaceKind | None = None
    capacity_g: KgIn | None = Field(default=None, alias="capacity_kg")
    site: Site | None = None
    parent: PlaceCode | None = None
    above_shoulder: StrictBool | None = None
    carry_over_runs: Runs | None = None
    carry_over_hours: Hours | None = None


class LocationOut(CardOut):
    code: str
    kind: PlaceKind
    capacity_g: KgOut | None = Field(alias="capacity_kg")
    site: str | None
    parent: str | None
    path: list[str]
    """From the root of its tree to itself."""
    above_shoulder: bool | None
    standing_g: KgOut = Field(alias="standing_kg")
    """What stands there and below it."""
    free_g: KgOut | None = Field(alias="free_kg")
    """Capacity less what stands there; below zero where a count found too much."""
    carry_over_runs: int | None
    """Null where coffee does not mix."""
    carry_over_hours: int | None

    @property
    def etag(self) -> str:
        """The version, and with it what the card itself does not know and its answer shows."""
        plain = super().etag
        if not self.standing_g and self.path == [self.code]:
            return plain
        shown = f"{self.standing_g} {' '.join(self.path)}"
        return f'{plain[:-1]}-{hashlib.sha256(shown.encode()).hexdigest()[:12]}"'


class MoveIn(Asked):
    sacks: Codes | None = None
    origin: PlaceCode | None = Field(default=None, alias="from")
    """Instead of sacks: everything with anything left at this place and below it."""
    lot: Code | None = None
    """Instead of sacks: every sack of a lot with anything left, with `from` only those there."""
    to: PlaceCode
    moved_at: MomentIn | None = None

    @model_validator(mode="after")
    def _one_choice(self) -> Self:
        chosen = self.origin is not None or self.lot is not None
        if (self.sacks is not None) == chosen:
            raise ValueError(
                "name either sacks, or a place to move from, or a lot, or both of them"
            )
        if self.origin is not None and self.origin == self.to:
            raise ValueError(f"everything at {self.to} and below it is at {self.to} already")
        return self


class Moved(Told):
    """A sack and where it came from."""

    sack: str
    origin: str | None = Field(alias="from")


class Caution(Told):
    """What to mind with these sacks."""

    codes: list[str]
    caution: str


class MoveOut(Told):
    to: str
    moved_at: MomentOut
    sacks: list[Moved]
    cautions: list[Caution]
    entry: int


class MoveLine(Told):
    id: int
    unit: str
    origin: str | None = Field(alias="from")
    to: str
    moved_at: MomentOut
    who: str


class StayLine(Told):
    id: int
    """The number of the move that brought it."""
    unit: str
    kind: UnitKind
    location: str
    came_at: MomentOut
    went_at: MomentOut | None
    """Null while it stands there."""
    went: Literal["moved", "used_up"] | None

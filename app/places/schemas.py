"""What the API reads and answers about places."""

from typing import Annotated, ClassVar

from pydantic import Field, StringConstraints

from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Codes, Told
from app.places.tables import PlaceKind
from app.shared.codes import PlaceCode
from app.shared.mass import KgIn, KgOut
from app.shared.times import MomentIn, MomentOut

Site = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]


class LocationIn(Asked):
    code: PlaceCode
    kind: PlaceKind
    capacity_g: KgIn | None = Field(default=None, alias="capacity_kg")
    site: Site | None = None


class LocationChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"kind"})

    kind: PlaceKind | None = None
    capacity_g: KgIn | None = Field(default=None, alias="capacity_kg")
    site: Site | None = None


class LocationOut(CardOut):
    code: str
    kind: PlaceKind
    capacity_g: KgOut | None = Field(alias="capacity_kg")
    site: str | None


class MoveIn(Asked):
    sacks: Codes
    to: PlaceCode
    moved_at: MomentIn | None = None


class Moved(Told):
    """A sack and where it came from."""

    sack: str
    origin: str | None = Field(alias="from")


class MoveOut(Told):
    to: str
    moved_at: MomentOut
    sacks: list[Moved]
    entry: int


class MoveLine(Told):
    id: int
    unit: str
    origin: str | None = Field(alias="from")
    to: str
    moved_at: MomentOut
    who: str

"""What the API reads and answers about the evidence of where coffee grew."""

import hashlib
from datetime import date
from decimal import Decimal
from typing import Annotated, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    Field,
    StrictBool,
    StringConstraints,
    WithJsonSchema,
    model_validator,
)

from app.green.evidence.rules import FirmRole, Lack
from app.ledger.schemas import Asked, Told, Why
from app.shared.times import Day, MomentOut
from app.standards.due_diligence import (
    OWN_REFERENCE_LONGEST,
    REFERENCE_LONGEST,
    VERIFICATION_LENGTHS,
    is_hs_code,
    without_blanks,
)
from app.standards.geolocation import read_plots

Hectares = Annotated[
    Decimal, WithJsonSchema({"type": "number", "description": "Hectares, to the square metre."})
]


def _hs_code(code: str) -> str:
    if not is_hs_code(code):
        raise ValueError(f"{code} is no HS code: 2 to 6 digits, such as 090111")
    return code


def _stripped(value: object) -> object:
    return without_blanks(value) if isinstance(value, str) else value


HsCode = Annotated[
    str,
    BeforeValidator(_stripped),
    AfterValidator(_hs_code),
    WithJsonSchema({"type": "string", "description": "2 to 6 digits; blanks are taken out."}),
]
Reference = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=REFERENCE_LONGEST)
]
Verification = Annotated[
    str,
    StringConstraints(
        strip_whitespace=True,
        min_length=VERIFICATION_LENGTHS[0],
        max_length=VERIFICATION_LENGTHS[1],
    ),
]
OwnReference = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=OWN_REFERENCE_LONGEST)
]


class GivenPlots(BaseModel):
    """A file of plots that was found sound."""

    content: str
    sha256: str
    size_bytes: int
    points: int
    outlines: int
    area_m2: int
    countries: list[str]

    @classmethod
    def of(cls, content: bytes) -> Self:
        """Look through a file.

        Raises:
            FlawedPlotsError: naming all that is not right in it.
        """
        found = read_plots(content)
        outlines = sum(plot.outlined for plot in found.plots)
        return cls(
            content=content.decode(),
            sha256=hashlib.sha256(content).hexdigest(),
            size_bytes=len(content),
            points=len(found.plots) - outlines,
            outlines=outlines,
            area_m2=found.area_m2,
            countries=sorted(found.countries),
        )


class PlotFileOut(Told):
    """A file of plots on record."""

    id: int
    lot: str
    sha256: str
    size_bytes: int
    plots: int
    points: int
    """Plots given as a point with their area, each up to 4 ha."""
    outlines: int
    area_ha: Hectares
    countries: list[str]
    """Named in the file; blank where it names none."""
    counts: bool
    """False once a newer one superseded it or the evidence was declared not available."""
    recorded_at: MomentOut
    recorded_by: str


class StatementIn(Asked):
    """A due-diligence statement; a reference said again replaces what was said of it before."""

    reference: Reference
    verification: Verification | None = None
    own_reference: OwnReference | None = None
    simplified: StrictBool = False
    withdrawn: StrictBool = False

    @model_validator(mode="after")
    def _simplified_has_none(self) -> Self:
        if self.simplified and self.verification is not None:
            raise ValueError("a simplified declaration has no verification number")
        return self


class StatementOut(Told):
    """A statement that counts for a lot."""

    reference: str
    verification: str | None
    own_reference: str | None
    simplified: bool


class StatementLine(StatementOut):
    """A statement as it was said."""

    withdrawn: bool


class DueDiligenceIn(Asked):
    """What is known of a lot now; what is left out stays as it was said before."""

    statements: Annotated[list[StatementIn], Field(max_length=200)] = Field(default_factory=list)
    hs_code: HsCode | None = None
    produced_from: Day | None = None
    produced_to: Day | None = None
    not_available: Why | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        given = bool(self.statements) or self.hs_code is not None or self.produced_from is not None
        if self.not_available is None and not given and self.produced_to is None:
            raise ValueError("say something: statements, a period, an HS code, or not_available")
        if self.not_available is not None and (given or self.produced_to is not None):
            raise ValueError("not_available stands alone: it says that nothing else is there")
        return self

    @model_validator(mode="after")
    def _whole_period(self) -> Self:
        if (self.produced_from is None) != (self.produced_to is None):
            raise ValueError("produced_from and produced_to go together")
        if self.produced_from and self.produced_to and self.produced_from > self.produced_to:
            raise ValueError("produced_from is later than produced_to")
        return self


class DueDiligenceOut(Told):
    """One record, as it was said."""

    id: int
    lot: str
    statements: list[StatementLine]
    hs_code: str | None
    produced_from: date | None
    produced_to: date | None
    not_available: str | None
    recorded_at: MomentOut
    recorded_by: str


class RoleIn(Asked):
    """What the firm is for a delivery, and whether its supplier was the operator."""

    role: FirmRole
    from_operator: StrictBool | None = None

    @model_validator(mode="after")
    def _of_a_trader(self) -> Self:
        if self.from_operator is not None and self.role is not FirmRole.TRADER:
            raise ValueError("from_operator is said of what a trader bought")
        return self


class RoleOut(Told):
    delivery: str
    role: FirmRole
    from_operator: bool | None
    recorded_at: MomentOut
    recorded_by: str


class LackOut(Told):
    what: Lack
    why: str


class LotStanding(Told):
    """Whether the evidence of one lot is complete."""

    lot: str
    name: str
    origin: str
    supplier: str | None
    delivery: str
    role: FirmRole | None
    complete: bool
    lacking: list[LackOut]

"""What the API reads and answers about labels."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from app.labels.sheets import Paper, Size
from app.ledger.schemas import Asked, Told
from app.shared.codes import Code, PlaceCode
from app.shared.times import MomentOut

MOST = 500
"""Labels in one print order."""


class LabelsIn(Asked):
    """Which labels to print: of codes, or of every sack of a lot."""

    codes: Annotated[list[PlaceCode], Field(min_length=1, max_length=MOST)] | None = None
    lot: Code | None = None
    subject_kind: Literal["unit", "location"] | None = None
    size: Size = Size.LARGE
    sheet: Paper | None = None
    start_at: Annotated[int, Field(ge=1, le=100, strict=True)] = 1
    copies: Annotated[int, Field(ge=1, le=100, strict=True)] = 1

    @model_validator(mode="after")
    def _codes_or_lot(self) -> Self:
        if (self.codes is None) == (self.lot is None):
            raise ValueError("name either codes or a lot")
        if self.codes is not None and len(set(self.codes)) < len(self.codes):
            twins = sorted({code for code in self.codes if self.codes.count(code) > 1})
            raise ValueError(f"named twice: {', '.join(twins)}; for more labels of one use copies")
        return self


class Reprint(Told):
    """A code that was printed before, and how often."""

    code: str
    reprint: int
    """1 the second time a label of it is printed."""


class OrderLine(Told):
    """A print order as the list shows it."""

    id: int
    size: Size
    sheet: Paper | None
    start_at: int
    copies: int
    labels: int
    reprinted: int
    """How many of its codes had been printed before."""
    printed_at: MomentOut
    printed_by: str
    pdf: str


class OrderOut(OrderLine):
    codes: list[str]
    reprints: list[Reprint]
    entry: int

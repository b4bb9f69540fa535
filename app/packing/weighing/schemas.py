"""What the API reads and answers about checks of weight."""

from decimal import Decimal
from typing import Annotated, Any, Self

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema, model_validator

from app.ledger.schemas import Asked, Note, Told
from app.packing.schemas import Bags
from app.packing.weighing.advice import Advice
from app.shared.numbers import NumberOut, exact_number
from app.shared.times import MomentIn, MomentOut
from app.standards.average_quantity import MG, Check, Finding

HEAVIEST_BAG_G = 60_000
"""Gross: a bag of 25 kg is the largest the rules know."""


def _milligrams(grams: Decimal) -> int:
    if not grams.is_finite() or not 0 < grams <= HEAVIEST_BAG_G:
        raise ValueError(f"a bag weighs more than 0 and at most {HEAVIEST_BAG_G} g")
    milligrams = grams * MG
    if milligrams != int(milligrams):
        raise ValueError(f"{grams} g is finer than a milligram: at most 3 decimals")
    return int(milligrams)


_GRAMS: dict[str, Any] = {
    "type": "number", "exclusiveMinimum": 0, "maximum": HEAVIEST_BAG_G, "multipleOf": 0.001,
}  # fmt: skip
Weight = Annotated[
    Any,
    BeforeValidator(exact_number),
    AfterValidator(_milligrams),
    WithJsonSchema(_GRAMS),
]
"""A field that reads grams and holds whole milligrams."""


class CheckWeighingIn(Asked):
    plan: Check | None = None
    """Left out: every bag below a hundred, else the plan that the roastery set."""
    batch_bags: Bags | None = None
    """How many bags the sample stands for; all of the pack when left out."""
    weights: Annotated[list[Weight], Field(min_length=1, max_length=1000, alias="weights_g")]
    """In the order of weighing; net, or gross where a tare is given. Of the double plan, both
    samples in one list when the first did not decide."""
    tare: Weight | None = Field(default=None, alias="tare_g")
    """Of one empty bag; the weights are gross then."""
    instrument: Annotated[str, Field(max_length=200)] | None = None
    weighed_at: MomentIn | None = None
    note: Note | None = None

    @model_validator(mode="after")
    def _more_than_the_bag(self) -> Self:
        if self.tare is not None and min(self.weights) <= self.tare:
            grams = Decimal(min(self.weights)) / MG
            raise ValueError(f"a filled bag of {grams} g weighs no more than the empty one")
        return self

    def net_mg(self) -> list[int]:
        """Give the net weights in milligrams."""
        return [weight - (self.tare or 0) for weight in self.weights]


class LimitsOut(Told):
    """What the weights were held against, in grams."""

    nominal_g: int
    error_g: NumberOut
    """The tolerable negative error; of the American plan, the allowed variation."""
    t1_g: NumberOut
    t2_g: NumberOut | None
    """Null in the American plan, which knows one limit."""
    scale_error_g: NumberOut | None
    """The scale may be off by at most this."""


class ContentsOut(Told):
    """The test of single bags."""

    weighed: int
    defective: int
    """Below T1."""
    accept_at_most: int
    reject_from: int
    below_t2: int
    finding: Finding


class MeanOut(Told):
    """The test of the mean, in grams."""

    of: int
    mean_g: NumberOut
    deviation_g: NumberOut
    limit_g: NumberOut
    finding: Finding


class CheckWeighingOut(Told):
    id: int
    pack: str
    plan: Check
    batch_bags: int
    finding: Finding
    advice: Advice
    """To whoever runs the line, whatever the test of the sample says."""
    limits: LimitsOut
    contents: ContentsOut
    mean: MeanOut
    warnings: list[str]
    """What a packer should know though the check is passed."""
    weights: list[NumberOut] = Field(alias="weights_g")
    """Net, in the order of weighing."""
    tare: NumberOut | None = Field(alias="tare_g")
    instrument: str | None
    note: str | None
    hold: int | None
    """The hold that a failed check placed."""
    weighed_at: MomentOut
    weighed_by: str
    voided: bool
    void_reason: str | None

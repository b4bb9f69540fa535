"""What a check of weights points out, worded from its figures in the language of the page."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from app.packing.weighing.showing import LARGEST_BATCH, grams
from app.standards.average_quantity import MG, Finding
from app.web.shown import number
from app.web.texts import _


def pointed_out(check: Mapping[str, Any]) -> Iterator[str]:
    """Say what the answer of a check has as `warnings`, one for each of them."""
    contents, mean, limits = check["contents"], check["mean"], check["limits"]
    nominal_g = limits["nominal_g"]
    if contents["below_t2"]:
        yield _(
            "%(number)s of %(weighed)s bags are below T2 (%(limit)s g): none of that kind may "
            "leave."
        ) % _figures(contents["below_t2"], contents["weighed"], limits["t2_g"])
    label = {"label": number(nominal_g)}
    if mean["finding"] == Finding.ACCEPTED and mean["mean_g"] < nominal_g:
        yield _(
            "The mean of %(mean)s g is below the %(label)s g of the label though the test allows "
            "it: a sample's test is no target to fill to."
        ) % (label | {"mean": number(mean["mean_g"])})
    if contents["finding"] == Finding.SECOND_SAMPLE:
        yield _(
            "The first sample does not decide: weigh as many more and enter all of them together."
        )
    if check["batch_bags"] > LARGEST_BATCH:
        yield _(
            "Away from the end of the line a check batch has at most %(most)s bags; this one has "
            "%(bags)s."
        ) % {"most": number(LARGEST_BATCH), "bags": number(check["batch_bags"])}
    weights: list[Decimal] = check["weights_g"]
    running = sum(map(Fraction, weights), start=Fraction(0)) / len(weights)
    if running < nominal_g and mean["finding"] != Finding.ACCEPTED:
        yield _("The running mean of %(mean)s g is below the %(label)s g of the label.") % (
            label | {"mean": number(grams(running * MG))}
        )
    if short := sum(weight < limits["t1_g"] for weight in weights):
        yield _("%(number)s of %(weighed)s bags are below T1 (%(limit)s g).") % _figures(
            short, len(weights), limits["t1_g"]
        )


def _figures(bags: int, weighed: int, limit_g: Decimal) -> dict[str, str]:
    return {"number": number(bags), "weighed": number(weighed), "limit": number(limit_g)}

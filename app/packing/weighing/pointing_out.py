"""What a check of weights points out, worded from the figures of its answer."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from app.packing.weighing.figures import grams
from app.shared.speech import PLAIN, Speech
from app.standards.average_quantity import MG, Finding

LARGEST_BATCH = 10_000
"""Away from the end of the line; Directive 76/211/EEC, Annex II 1.2."""


def pointed_out(check: Mapping[str, Any], speech: Speech = PLAIN) -> Iterator[str]:
    """Say what is to be known of a check; the last two where nothing else says why to stop."""
    say, number = speech.gettext, speech.number
    contents, mean, limits = check["contents"], check["mean"], check["limits"]
    nominal_g = limits["nominal_g"]
    if contents["below_t2"]:
        yield say(
            "%(number)s of %(weighed)s bags are below T2 (%(limit)s g): none of that kind may "
            "leave."
        ) % _figures(speech, contents["below_t2"], contents["weighed"], limits["t2_g"])
    label = {"label": number(nominal_g)}
    weights: list[Decimal] = check["weights_g"]
    # By the weights themselves: what is short by less than is shown is short.
    if mean["finding"] == Finding.ACCEPTED and _mean(weights[: mean["of"]]) < nominal_g:
        yield say(
            "The mean of %(mean)s g is below the %(label)s g of the label though the test allows "
            "it: a sample's test is no target to fill to."
        ) % (label | {"mean": number(mean["mean_g"])})
    if contents["finding"] == Finding.SECOND_SAMPLE:
        yield say(
            "The first sample does not decide: weigh as many more and enter all of them together."
        )
    if check["batch_bags"] > LARGEST_BATCH:
        yield say(
            "Away from the end of the line a check batch has at most %(most)s bags; this one has "
            "%(bags)s."
        ) % {"most": number(LARGEST_BATCH), "bags": number(check["batch_bags"])}
    running = _mean(weights)
    if running < nominal_g and mean["finding"] != Finding.ACCEPTED:
        yield say("The running mean of %(mean)s g is below the %(label)s g of the label.") % (
            label | {"mean": number(grams(running * MG))}
        )
    if short := sum(weight < limits["t1_g"] for weight in weights):
        yield say("%(number)s of %(weighed)s bags are below T1 (%(limit)s g).") % _figures(
            speech, short, len(weights), limits["t1_g"]
        )


def _mean(weights: Sequence[Decimal]) -> Fraction:
    return sum(map(Fraction, weights), start=Fraction(0)) / len(weights)


def _figures(speech: Speech, bags: int, weighed: int, limit_g: Decimal) -> dict[str, str]:
    figures: dict[str, Decimal | int] = {"number": bags, "weighed": weighed, "limit": limit_g}
    return {name: speech.number(figure) for name, figure in figures.items()}

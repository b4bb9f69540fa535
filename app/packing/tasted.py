"""Keeping to what a tasting decided: blends up to a share, rework as rework, neither in a bag."""

from collections.abc import Mapping, Sequence

from app.packing.pouring import Filling
from app.packing.recipes.rules import REWORK
from app.packing.rules import BlendedIn, beyond_tasting
from app.quality.rules import Disposition
from app.roasting.queries import Limited
from app.shared.mass import kg_from_grams, kg_text
from app.shared.problems import Refused
from app.shared.shares import percent


def refuse_straight(limited: Sequence[Limited]) -> None:
    """Refuse to fill bags from roasts that go into blends alone."""
    if limited:
        named = "; ".join(map(_words, limited))
        raise _refused(f"Not straight into bags: {named}.", limited)


def _words(roast: Limited) -> str:
    if roast.disposition is Disposition.REWORK:
        return f"{roast.code} goes into blends as rework alone"
    return f"{roast.code} goes into blends alone, at most {_limit(roast.at_most_milli)} of each"


def _limit(milli: int | None) -> str:
    return f"{kg_from_grams(milli or 0)} %"


def as_rework(filling: Filling, limited: Sequence[Limited]) -> Filling:
    """Let roasts for rework stand for the rework of a recipe where nothing else is said."""
    rework = {each.code for each in limited if each.disposition is Disposition.REWORK}
    scoops = [
        scoop._replace(component=REWORK)
        if scoop.unit in rework and scoop.component is None
        else scoop
        for scoop in filling.scoops
    ]
    return filling._replace(scoops=scoops)


def refuse_too_much(
    limited: Sequence[Limited], parts: Mapping[str, int], components: Mapping[str, str]
) -> None:
    """Refuse a blend that holds more of a roast, or uses it otherwise, than its tasting allows.

    Rework goes in under a recipe that takes some and limits it: elsewhere nothing would.
    """
    rework = [each for each in limited if each.disposition is Disposition.REWORK]
    astray = [each for each in rework if components.get(each.code) != REWORK]
    if astray:
        said = "; ".join(map(_words, astray))
        raise _refused(f"{said}: name a recipe, and no other component of it.", astray)
    blended = [
        BlendedIn(each.code, parts[each.code], each.at_most_milli or 0)
        for each in limited
        if each.disposition is Disposition.BLEND_IN
    ]
    whole_g = sum(parts.values())
    beyond = beyond_tasting(blended, whole_g)
    if beyond is None:
        return
    named = " and ".join(beyond.codes)
    share = percent(beyond.grams, whole_g)
    raise _refused(
        f"{kg_text(beyond.grams)} of {named} is {share} % of the blend; its tasting allows at most "
        f"{_limit(beyond.at_most_milli)}.",
        [each for each in limited if each.code in beyond.codes],
        share_pct=share,
        at_most_pct=kg_from_grams(beyond.at_most_milli),
    )


def _refused(detail: str, limited: Sequence[Limited], **figures: object) -> Refused:
    return Refused(
        "tasting-limits-use",
        detail,
        units=[each.code for each in limited],
        dispositions=[each.disposition for each in limited],
        **figures,
    )

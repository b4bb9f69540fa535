"""What is to be ordered, in words."""

from collections.abc import Mapping
from typing import Final

from app.cover.foretelling import Basis
from app.cover.rules import NO_USE, LeadBasis
from app.cover.schemas import SuggestedOrder
from app.shared.speech import N_, PLAIN, Speech

LEADS: Final[Mapping[str, str]] = {
    LeadBasis.CARD: N_("card"),
    LeadBasis.MEASURED: N_("measured"),
    LeadBasis.AGREED: N_("agreed"),
    LeadBasis.SETTING: N_("setting"),
}
"""What a lead time is read off."""


def why_text(each: SuggestedOrder, speech: Speech = PLAIN) -> str:
    """Say what an order is worked out of."""
    if each.order_by is None:
        return speech.gettext(NO_USE)
    return " ".join(_why(each, speech))


def _why(each: SuggestedOrder, speech: Speech) -> list[str]:
    say, harvest = speech.gettext, each.method == "harvest"
    used = (
        say("%(position)s are available or on order, and by the forecast %(use)s a day will be "
            "used.")
        if each.use_basis is Basis.FORECAST
        else say("%(position)s are available or on order, and %(use)s a day are used.")
    )  # fmt: skip
    reached = (
        say("The order point of %(point)s is reached: %(days)s days of lead time (%(basis)s) and "
            "%(safety)s of safety stock at %(service)s %% service.")
        if each.due
        else say("The order point of %(point)s will be reached on %(on)s: %(days)s days of lead "
                 "time (%(basis)s) and %(safety)s of safety stock at %(service)s %% service.")
    )  # fmt: skip
    lasts = (
        say("The order lasts until the harvest after next arrives.") if harvest
        else say("The order lasts until the order after it arrives.")
    )  # fmt: skip
    told = {
        "position": speech.mass(each.position_g),
        "use": speech.mass(round(each.daily_use_kg * 1000)),
        "point": speech.mass(each.reorder_point_g),
        "on": speech.day(each.order_by) if each.order_by else "",
        "days": speech.number(round(each.lead_time.days, 1)),
        "basis": say(LEADS[each.lead_time.basis]),
        "safety": speech.mass(each.safety_stock_g),
        "service": speech.number(each.service_pct),
    }
    return [used % told, reached % told, lasts]

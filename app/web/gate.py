"""What the gate asks of a roast, and what it and a tasting let a roast be used for."""

from typing import Final

from app.web.texts import N_, _

CHECKS: Final = {
    "profile": N_("Profile"),
    "end_weight": N_("End weight"),
    "colour": N_("Colour"),
}
_DISPOSITIONS: Final = {
    "passed": N_("passed the gate"),
    "set_aside": N_("set aside, to be tasted"),
    "released": N_("released by tasting"),
    "blend_in": N_("for blends, up to a share"),
    "rework": N_("for blends, as rework"),
    "rejected": N_("rejected"),
    "scrapped": N_("scrapped"),
}


def disposition(named: str) -> str:
    """Say what a roast may be used for."""
    return _(_DISPOSITIONS[named])

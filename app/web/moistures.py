"""What the bands of moisture are called, and the sign that goes with each: never a colour alone."""

from typing import Final, NamedTuple

from app.green.readings.rules import Band
from app.web.texts import N_


class Words(NamedTuple):
    """A band as it is told."""

    sign: str
    said: str
    todo: str


WORDS: Final = {
    Band.GREEN: Words(
        "\N{BLACK CIRCLE}",
        N_("moisture in the range"),
        N_("Nothing to be done but to read it again in time."),
    ),
    Band.AMBER: Words(
        "\N{CIRCLE WITH RIGHT HALF BLACK}",
        N_("moisture to be watched"),
        N_("Read it more often, look at the room it stands in, and use it sooner."),
    ),
    Band.RED: Words(
        "\N{BLACK UP-POINTING TRIANGLE}",
        N_("moisture out of bounds"),
        N_(
            "Read it again, keep it apart, and let quality decide. Damp coffee can mould: mind the "
            "dust."
        ),
    ),
    Band.UNKNOWN: Words(
        "?",
        N_("moisture not known"),
        N_("Read it: nobody did, or too long ago, or not with an instrument to trust."),
    ),
}

"""What refusals are called on pages, where the words of the API name its members and headers.

Whoever stands at a drum has fields and buttons before them, and no JSON.
"""

import re
from collections.abc import Mapping
from typing import Final, NamedTuple

from app.shared.kinds import KINDS
from app.web.texts import N_, English, _

_ROW: Final = re.compile(r"^sacks/\d+: ")
"""How what a lot says of one of its sacks begins."""


class Words(NamedTuple):
    """The short title of a refusal, and what to know and do."""

    title: str
    meaning: str


_TITLES: Final[Mapping[str, str]] = {"invalid": N_("Something is not right")}

_MEANINGS: Final[Mapping[str, str]] = {
    "ambiguous-code": N_(
        "A unit and a place carry the same code. Begin at the page of the one that is meant."
    ),
    "busy": N_("Send it again in a moment: it is booked once, whatever came of it before."),
    "has-dependants": N_(
        "An entry can be voided while nothing was made from its coffee. Void what is named first, "
        "the newest first, or all of it together at the page of the unit."
    ),
    "idempotency-key-reused": N_("Open the form anew: this one was booked with something else."),
    "implausible-loss": N_(
        "The charge or the end weight is probably a slip of the scale or the keyboard. Weigh "
        "again. If it is so, tick that it was weighed again, further below on the form."
    ),
    "invalid": N_("Beside each field stands what is wrong with it. Nothing was stored."),
    "malformed-gs1": N_(
        "It claims to be a barcode or a link of GS1 and breaks a rule of it. Scan it again; if it "
        "stays so, the label itself is wrong: tell whoever printed it."
    ),
    "mark-taken": N_(
        "An ICO mark names one shipment in a coffee year. Look at the sack again. If this lot is "
        "a further parcel of it, or was shipped in another coffee year, say so with the mark."
    ),
    "not-empty": N_(
        "A place is cleaned when it is empty. Draw or move what is in it first, or say when it "
        "was cleaned."
    ),
    "off-recipe": N_(
        "The shares are further from those of the recipe than its tolerance. Weigh again, or let "
        "quality book it with a reason."
    ),
    "precondition-failed": N_("Open it as it is now, then decide."),
    "precondition-required": N_("Open it as it is now, so that nobody's change is lost."),
    "reaches-too-far": N_(
        "A part of it would look like all of it, so nothing is shown or kept. Ask for fewer units, "
        "a shorter time or fewer steps of contact, or have whoever runs the service allow more."
    ),
    "request-in-flight": N_("It is being booked. Look again in a moment."),
    "tasting-limits-use": N_(
        "A tasting decided what the roast may be used for; the words above say what. Take less of "
        "it, choose a recipe that takes rework, or have it tasted again."
    ),
    "too-many-requests": N_("More came than is answered within a minute. Try again in a moment."),
    "unauthorized": N_("Sign in first."),
    "unknown-reference": N_("It names something that has no card yet. Enter that first."),
    "unsupported-media-type": N_("A photo is sent as JPEG, PNG or WebP."),
    "voided": N_("A correcting entry says that it never was. What took its place is named."),
}


FLAWS: Final[Mapping[str, str]] = {
    "missing": N_("This is needed."),
    "greater_than": N_("More than %(gt)s is wanted."),
    "greater_than_equal": N_("At least %(ge)s is wanted."),
    "less_than": N_("Less than %(lt)s is wanted."),
    "less_than_equal": N_("At most %(le)s is wanted."),
    "string_too_short": N_("At least %(min_length)s characters are wanted."),
    "string_too_long": N_("At most %(max_length)s characters are kept."),
    "string_pattern_mismatch": N_(
        "It is not written like that: look at the letters, digits and signs."
    ),
    "too_short": N_("At least %(min_length)s are wanted."),
    "too_long": N_("At most %(max_length)s are taken."),
    "decimal_max_places": N_("At most %(decimal_places)s decimals are kept."),
    "int_type": N_("A whole number is wanted."),
    "int_from_float": N_("A whole number is wanted."),
    "enum": N_("Choose one of those that are offered."),
    "literal_error": N_("Choose one of those that are offered."),
    "date_type": N_("A day is wanted here."),
    "date_parsing": N_("A day is wanted here."),
    "date_from_datetime_parsing": N_("A day is wanted here."),
}
"""What Pydantic finds, in words of the page."""


_STARTS: Final = N_(
    "Name one thing to begin with: units, a place, a machine, a lot of packing material, a reading."
)
_ENDS_FIRST: Final = N_("The time ends before it begins.")
SAID: Final[Mapping[str, str]] = {
    "corrects and correction_reason go together": N_("Say why it is corrected."),
    "from and to go with a location": N_("A time goes with a place."),
    "from and to go with a location or a machine": N_("A time goes with a place or a machine."),
    "from is later than to": _ENDS_FIRST,
    "from_operator is said of what a trader bought": N_(
        "Whether the supplier was the operator is only said where the firm is a trader."
    ),
    "give net_kg, or gross_kg with its tare": N_(
        "A net weight is wanted, or a gross weight and that of the packaging."
    ),
    "gross_kg needs tare_kg beside it, or a tare_sample of the lot": N_(
        "The sacks were weighed with their packaging: say what some empty ones weigh."
    ),
    "gross_kg needs tare_kg, tare_sample or landed_kg beside it": N_(
        "Beside a gross weight that of the packaging is wanted, or the net weight."
    ),
    "increments are drawn from sacks: name them in `from`": N_(
        "How many times is said of what was drawn here: scan the sacks."
    ),
    "name either units or a location or a material_lot": N_(
        "Name one thing to begin with: units, a place or a lot of packing material."
    ),
    "name either units, or a location, a machine, a material_lot or a reading": _STARTS,
    "not_available stands alone: it says that nothing else is there": N_(
        "Why no evidence can be had stands alone: leave the rest empty."
    ),
    "price and price_unit go together": N_("A price is for one of a unit: give both."),
    "price, currency and price_unit go together": N_(
        "A price has a currency and is for one of a unit: give all three or none."
    ),
    "produced_from and produced_to go together": N_(
        "The time of production has a first and a last day: give both or none."
    ),
    "produced_from is later than produced_to": _ENDS_FIRST,
    "say something: statements, a period, an HS code, or not_available": N_(
        "Give a statement, the time of production or an HS code, or say why none can be had."
    ),
    "shipped_until is earlier than shipped_from": _ENDS_FIRST,
    "tare_kg goes with gross_kg": N_("Beside the packaging the gross weight is wanted."),
    "the change changes nothing: send the fields to be changed": N_("Nothing was changed."),
    "the mass is what the sacks of `from` gave: leave it out": N_(
        "What came out of the sacks is the mass: leave this empty."
    ),
    "valid_until is earlier than valid_from": N_("It would end before it begins."),
}
"""What the API says by the names of its members, said to whoever has fields before them."""
_INSTEAD: Final[Mapping[str, str]] = {
    "precondition-failed": N_("What stands on it now is not what stood there when it was opened."),
}
"""Said at pages in place of what a refusal of this kind says of headers."""


def plainly(said: str, slug: str = "") -> str:
    """Say in words of the page what names members or headers of the API; all else is English."""
    words = _INSTEAD.get(slug) or SAID.get(_ROW.sub("", said))
    return _(words) if words else English(said)


def words_of(slug: str) -> Words:
    """Say a kind of refusal to somebody at a page."""
    kind = KINDS[slug]
    return Words(_TITLES.get(slug, kind.title), _MEANINGS.get(slug, kind.meaning))

"""Due diligence by Regulation (EU) 2023/1115: the forms of its numbers, and how long to keep them.

How references and verification numbers are built is not published, so their length alone is
checked. A statement may have so many lines: official material says 200 in one place and 100 in
another; `FEWER_LINES` is the reading that holds under both.
"""

import re
from datetime import date
from typing import Final

REFERENCE_LONGEST: Final = 14
VERIFICATION_LENGTHS: Final = (5, 35)
OWN_REFERENCE_LONGEST: Final = 50
FEWER_LINES: Final = 100
FEWEST_YEARS_KEPT: Final = 5

_HS: Final = re.compile(r"[0-9]{2,6}")
_COFFEE: Final = "0901"


def is_hs_code(said: str) -> bool:
    """Tell whether a text has the form of a code of the Harmonised System: 2 to 6 digits."""
    return _HS.fullmatch(said) is not None


def without_blanks(said: str) -> str:
    """Take out the blanks with which codes are printed: `0901 21` is `090121`."""
    return "".join(said.split())


def is_coffee(hs_code: str) -> bool:
    """Tell whether a code is of heading 0901, roasted or not."""
    return hs_code.startswith(_COFFEE)


def kept_until(placed_on: date, years: int) -> date:
    """Name the first day on which what was placed on the market may be forgotten.

    Of 29 February the day after the last of February stands in a year that lacks it: the later.
    """
    try:
        return placed_on.replace(year=placed_on.year + years)
    except ValueError:
        return date(placed_on.year + years, 3, 1)

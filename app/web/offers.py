"""What can be done with a unit now: pages that are offered on the unit's own."""

from collections.abc import Callable, Iterable
from typing import Final, NamedTuple
from urllib.parse import quote

from app.ledger.tables import UnitKind
from app.shared.sign_in import Staff
from app.shared.staff import Permission
from app.web.life import Life

IN_STOCK: Final = frozenset(UnitKind) - {UnitKind.DISPATCH}
"""What can stand in the house."""


def standing(unit: Life) -> bool:
    """Tell whether a unit counts."""
    return not unit.voided


def left(unit: Life) -> bool:
    """Tell whether there is anything of a unit to take in hand."""
    return not unit.voided and unit.left_g > 0


class Offer(NamedTuple):
    """A page on which something is done with one unit."""

    path: str
    """With `{code}` where the unit goes."""
    name: str
    """A verb, marked with `N_`."""
    permission: Permission
    kinds: frozenset[UnitKind] = frozenset(UnitKind)
    fits: Callable[[Life], bool] = standing
    likely: frozenset[UnitKind] = frozenset()
    """Kinds of which this is what somebody usually comes for."""
    grave: bool = False
    """Whether it takes back what was booked: it stands last and looks so."""

    def address(self, unit: Life) -> str:
        """Name the page with the unit filled in."""
        return self.path.format(code=quote(unit.code, safe=""))


class Offers(NamedTuple):
    """What somebody may do with a unit as it is now."""

    likely: list[Offer]
    others: list[Offer]


def offers_of(offers: Iterable[Offer], unit: Life, staff: Staff) -> Offers:
    """Choose what somebody may do with a unit as it is now, what is grave last."""
    mine = [
        offer
        for offer in offers
        if unit.kind in offer.kinds and staff.may(offer.permission) and offer.fits(unit)
    ]
    return Offers(
        [offer for offer in mine if unit.kind in offer.likely],
        sorted((o for o in mine if unit.kind not in o.likely), key=lambda offer: offer.grave),
    )

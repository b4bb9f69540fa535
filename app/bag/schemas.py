"""What a bag answers to a program."""

from datetime import date

from app.ledger.schemas import Told


class OriginOut(Told):
    country: str
    """ISO 3166-1 alpha-2."""
    name: str


class BagOut(Told):
    lot_mark: str
    product: str
    origins: list[OriginOut]
    roasted_from: date | None
    roasted_until: date | None
    suppliers: list[str]
    """Empty unless the roastery has chosen to name them."""
    contact_the_roastery: bool
    """Please get in touch about this bag; nothing else is said of it then."""

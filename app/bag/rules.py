"""What may be said of a bag, and how lot marks are written."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import date

LONGEST_MARK = 60


def marks_of(written: str) -> list[str]:
    """Name the lot marks that somebody may have read off a bag; none for what cannot be one.

    On the bag stands an L, a space and the code of the packing run; a code has no spaces in it.
    """
    plain = " ".join(written.upper().split())
    if not plain or len(plain) > LONGEST_MARK or not plain.isprintable():
        return []
    marks = [plain, f"L {plain}"]
    if plain.startswith("L") and not plain.startswith("L "):
        marks.append(f"L {plain[1:]}")
    return marks


@dataclass(frozen=True)
class Behind:
    """A unit that a bag was made of, as far as anybody may know."""

    kind: str
    on: date
    """When it was made: a roast, when it was roasted."""
    origin: str | None = None
    supplier: str | None = None
    held: bool = False


@dataclass(frozen=True)
class Story:
    """All that a bag tells."""

    product: str
    origins: Sequence[str] = ()
    """ISO 3166-1 alpha-2, each once."""
    roasted_from: date | None = None
    roasted_until: date | None = None
    suppliers: Sequence[str] = field(default_factory=tuple)
    contact_the_roastery: bool = False
    """Something about this coffee is being looked at; then nothing else is said of it."""


def story(product: str, behind: Collection[Behind], *, questioned: bool, suppliers: bool) -> Story:
    """Tell what may be told: of coffee that is stopped or asked after, only to get in touch.

    A hold on anything that the bag was made of counts: no page says more than is known.
    """
    if questioned or any(each.held for each in behind):
        return Story(product, contact_the_roastery=True)
    roasted = sorted(each.on for each in behind if each.kind == "roast")
    names = {each.supplier for each in behind if each.supplier} if suppliers else set()
    return Story(
        product,
        sorted({each.origin for each in behind if each.origin}),
        roasted[0] if roasted else None,
        roasted[-1] if roasted else None,
        sorted(names),
    )

"""Cautions about lifting, for what is put somewhere."""

from collections.abc import Iterable

from sqlmodel import Session

from app.places.rules import is_above_shoulder
from app.places.schemas import Caution
from app.places.tree import paths
from app.settings import Settings
from app.shared.mass import grams_from_kg
from app.standards.handling import ABOVE_SHOULDER, is_heavy


def heavy_over_g(settings: Settings) -> int:
    """Read the mass above which a sack gets a caution out of the settings."""
    return grams_from_kg(settings.heavy_over_kg)


def lifted_high(
    session: Session, settings: Settings, put: Iterable[tuple[str, int, int]]
) -> list[Caution]:
    """Caution where sacks (code, grams, place) over the limit go above shoulder level."""
    over_g = heavy_over_g(settings)
    heavy = [(code, place) for code, grams, place in put if is_heavy(grams, over_g)]
    if not heavy:
        return []
    ways = paths(session, {place for _, place in heavy})
    high = [code for code, place in heavy if is_above_shoulder(ways[place])]
    return [Caution(codes=high, caution=ABOVE_SHOULDER)] if high else []

"""Arithmetic of packing."""

from datetime import date, timedelta


def best_before(packed_on: date, shelf_life_days: int | None) -> date | None:
    """Date the bags by the product's shelf life; None where it has none."""
    return None if shelf_life_days is None else packed_on + timedelta(days=shelf_life_days)


def lot_mark(code: str) -> str:
    """Mark the bags of a pack: the letter L and its code (Directive 2011/91/EU, article 4)."""
    return f"L {code}"

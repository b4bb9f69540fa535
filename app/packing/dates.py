"""How products are dated, and the date of a pack."""

from datetime import date
from typing import NamedTuple

from app.packing.tables import DateChoice, Product
from app.shared.problems import FieldRefused
from app.standards.best_before import (
    DateForm,
    Keeps,
    least_form,
    least_form_between,
    stronger,
)


class Dated(NamedTuple):
    """The date on the bags of a pack."""

    best_before: date | None
    form: DateForm | None
    warnings: tuple[str, ...] = ()


def refuse_undatable(days: int | None, months: int | None, choice: DateChoice) -> None:
    """Refuse a shelf life said twice, and a date that says less than its shelf life asks for."""
    if days is not None and months is not None:
        raise FieldRefused(
            "#/shelf_life_months",
            f"{months} months and {days} days: a product keeps so many of the one or of the other",
        )
    keeps = Keeps(days, months)
    least = least_form(keeps)
    if choice is not DateChoice.AUTO and stronger(DateForm(choice), least) is not DateForm(choice):
        long = f"{months} months" if months is not None else f"{days} days"
        raise FieldRefused(
            "#/date_form",
            f"what keeps for {long} is dated by its {least} at least, not by its {choice} alone "
            "(Regulation (EU) No 1169/2011, Annex X)",
        )


def dated(product: Product, packed_on: date, said: date | None) -> Dated:
    """Date bags packed that day: by the word of whoever packs, else by the shelf life.

    Raises:
        Refused: `invalid` for a date before the day of packing.
    """
    if said is not None and said < packed_on:
        raise FieldRefused(
            "#/best_before", f"{said} is before the day of packing, which is {packed_on}"
        )
    keeps = Keeps(product.shelf_life_days, product.shelf_life_months)
    usual = keeps.after(packed_on)
    best_before = said or usual
    if best_before is None:
        return Dated(None, None)
    chosen = (
        least_form(keeps) if product.date_form == DateChoice.AUTO else DateForm(product.date_form)
    )
    form = stronger(chosen, least_form_between(packed_on, best_before))
    if usual is not None and best_before > usual:
        beyond = f"beyond the shelf life of {product.sku}, which ends on {usual}"
        return Dated(best_before, form, (f"Best before {best_before} is {beyond}.",))
    return Dated(best_before, form)

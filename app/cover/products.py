"""Products as cover sees them: the green of their components against what their bags took."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date

from app.cover.explosion import House, Made
from app.cover.rules import Tally
from app.production.schemas import Gap
from app.shared.names import fold_name

Packed = Mapping[int, Mapping[date, int]]
"""Grams that were packed, by product and day."""


def tallies_of(
    house: House, packed: Packed, stock: Mapping[str, Tally], gaps: list[Gap]
) -> Iterator[tuple[Made, list[Tally]]]:
    """Hold the green of each product against its own use: a tally for each component of it.

    A gram in a bag took so much green of each component: its share, divided by what stays of it in
    the drum. Whoever asks takes the component that ends first.
    """
    for product in house.products:
        made = house.made(product)
        if made.gap is None:
            yield made, list(_components(made, stock, packed.get(product.id or 0, {})))
        else:
            gaps.append(Gap(of=product.sku, why=made.gap))


def _components(
    made: Made, stock: Mapping[str, Tally], packed: Mapping[date, int]
) -> Iterator[Tally]:
    for component, green in made.green.items():
        there = stock.get(fold_name(component), Tally(component))
        yield replace(
            there,
            key=made.product.sku,
            name=made.product.name,
            component=component,
            drawn={day: grams * green for day, grams in packed.items()},
        )

"""Cover by product: the green of its components against what its bags took."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date

from sqlmodel import Session

from app.cover import explosion
from app.cover.explosion import Made
from app.cover.frames import Frame
from app.cover.rules import Cover, Tally, cover_of
from app.cover.tallies import Facts, Tallies
from app.settings import Settings
from app.shared.names import fold_name

Gaps = list[tuple[str, str]]


def by_product(
    session: Session, facts: Facts, settings: Settings, frame: Frame, sums: Tallies
) -> tuple[list[tuple[Tally, Cover]], Gaps]:
    """Hold the green of each product against its own use: by the component that ends first.

    A gram in a bag took so much green of each component: its share, divided by what stays of it in
    the drum.
    """
    house = explosion.house(session, settings, facts.as_of)
    first = min(each.first for each in (frame.asked, *frame.usual))
    packed = explosion.packed(session, first, facts.as_of)
    found, gaps = [], []
    for product in house.products:
        made = house.made(product)
        if made.gap is not None:
            gaps.append((product.sku, made.gap))
            continue
        tallies = list(_components(made, sums.found, packed.get(product.id or 0, {})))
        covers = [
            (each, cover_of(each, frame.asked, frame.as_of, frame.calendar)) for each in tallies
        ]
        found.append(min(covers, key=lambda each: (each[1].cover.days is None,
                                                   each[1].cover.days or 0)))  # fmt: skip
    return found, gaps


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

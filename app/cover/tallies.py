"""Adding up stock and use by lot, origin, component or site."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import NamedTuple

from sqlmodel import Session

from app.cover import reading
from app.cover.contracts import Contract, contracts
from app.cover.reading import Draw, Loss, Lot, Standing, Styles
from app.cover.rules import Tally
from app.cover.schemas import By
from app.settings import Settings
from app.shared.days import end_of
from app.shared.names import fold_name
from app.standards.countries import country_name

NO_SITE = "(no site)"


class Key(NamedTuple):
    """What something is added up under, and how that is called."""

    key: str
    name: str | None = None


@dataclass
class Facts:
    """What the book says of green: read once, added up by anything."""

    first: date
    """Since when use was read."""
    as_of: date
    lots: Mapping[int, Lot]
    stock: Collection[Standing]
    draws: Collection[Draw]
    losses: Collection[Loss]
    contracts: Sequence[Contract]
    styles: Styles
    sites: Mapping[int, str | None]

    def site(self, place_id: int | None) -> str:
        """Name the site of a place."""
        return (None if place_id is None else self.sites.get(place_id)) or NO_SITE


@dataclass
class Tallies:
    """What was added up, by folded key, and what belongs to none."""

    found: dict[str, Tally] = field(default_factory=dict)
    on_hand_g: int = 0
    used_g: int = 0
    on_order_g: int = 0
    _called: dict[str, Tally] = field(default_factory=dict)
    """The same by what was folded before: there are many draws, and few names."""

    def at(self, key: Key) -> Tally:
        """Find a tally, and begin it where there is none."""
        tally = self._called.get(key.key)
        if tally is None:
            tally = self.found.setdefault(fold_name(key.key), Tally(*key))
            self._called[key.key] = tally
        return tally


def read(
    session: Session, as_of: date, settings: Settings,
    *, days: int, loss_days: int = 0, sites: bool = False, yields: bool = False,
) -> Facts:  # fmt: skip
    """Read everything that cover of a day needs, with use and losses over so many days.

    With `yields` what styles give, which a `House` needs.
    """
    first = as_of - timedelta(days=days - 1)
    draws = reading.draws(session, first, as_of, places=sites)
    lost_since = as_of - timedelta(days=loss_days - 1)
    losses = reading.losses(session, lost_since, as_of, places=sites) if loss_days else []
    drawn = {each.lot_id for each in draws} | {each.lot_id for each in losses}
    lots, stock = reading.lots(session, drawn, as_of, places=sites)
    return Facts(
        first,
        as_of,
        lots,
        stock,
        draws,
        losses,
        [] if sites else contracts(session, as_of, settings),
        reading.styles(session, draws, settings, end_of(as_of) if yields else None),
        reading.sites(session) if sites else {},
    )


def add_up(facts: Facts, by: By, since: date) -> Tallies:
    """Add everything up; what belongs to no key is kept apart, its use since a day."""
    sums = Tallies()
    _add_stock(facts, by, sums)
    _add_use(facts, by, sums, since)
    for lost in facts.losses:
        for key in keys_of(facts, by, lost.lot_id, lost.place_id):
            tally = sums.at(key)
            tally.sampled_g += lost.sampled_g
            tally.written_off_g += lost.written_off_g
    for contract in facts.contracts:
        meant = of_contract(facts, by, contract)
        if meant is None:
            sums.on_order_g += contract.open_g
        elif contract.open_g:
            sums.at(meant).on_order_g += contract.open_g
    return sums


def _add_stock(facts: Facts, by: By, sums: Tallies) -> None:
    promised: set[int] = set()
    for there in facts.stock:
        keys = list(keys_of(facts, by, there.lot_id, there.place_id))
        sums.on_hand_g += 0 if keys else there.on_hand_g
        for key in keys:
            tally = sums.at(key)
            tally.on_hand_g += there.on_hand_g
            tally.held_g += there.held_g
            # A reservation does not say at which site.
            if there.lot_id not in promised and by != "site":
                tally.reserved_g += facts.lots[there.lot_id].reserved_g
            if len(keys) > 1:
                tally.shared_lots.add(facts.lots[there.lot_id].code)
        promised.add(there.lot_id)


def _add_use(facts: Facts, by: By, sums: Tallies, since: date) -> None:
    tallies: dict[tuple[int | None, ...], Tally | None] = {}
    for draw in facts.draws:
        if draw.of not in tallies:
            key = _of_draw(facts, by, draw)
            tallies[draw.of] = None if key is None else sums.at(key)
        tally = tallies[draw.of]
        if tally is not None:
            tally.draw(draw.day, draw.grams)
        elif draw.day >= since:
            sums.used_g += draw.grams


def keys_of(facts: Facts, by: By, lot_id: int, place_id: int | None) -> Iterator[Key]:
    """Name what a lot at a place counts to: of components there may be several, or none."""
    lot = facts.lots[lot_id]
    if by == "lot":
        yield Key(lot.code, lot.name)
    elif by == "origin":
        yield Key(lot.origin, country_name(lot.origin))
    elif by == "site":
        yield Key(facts.site(place_id))
    else:
        yield from map(Key, facts.styles.fills.get(lot.code, []))


def _of_draw(facts: Facts, by: By, draw: Draw) -> Key | None:
    if by != "component":
        return next(keys_of(facts, by, draw.lot_id, draw.place_id))
    component = facts.styles.component(draw, facts.lots[draw.lot_id].code)
    return None if component is None else Key(component)


def of_contract(facts: Facts, by: By, contract: Contract) -> Key | None:
    """Name what a contract is for; None where it does not say."""
    if by == "origin" and contract.origin is not None:
        return Key(contract.origin, country_name(contract.origin))
    if by == "component" and contract.component is not None:
        return Key(facts.styles.called(contract.component))
    return None

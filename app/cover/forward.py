"""Forward cover: how far green goes against the dated plan, and by the forecast after its end."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from fractions import Fraction
from math import ceil
from typing import NamedTuple

from sqlmodel import Session

from app.cover import explosion
from app.cover.explosion import House
from app.cover.foretelling import WEEK, Basis, Foresight, foresee
from app.cover.frames import Asked, Frame, frame_of, kg_a_day, number, weeks_of
from app.cover.plan import Plan, level, plan
from app.cover.products import Packed, tallies_of
from app.cover.rules import Calendar, Tally, Window
from app.cover.schemas import By, ForwardOut, ForwardRow
from app.cover.showing import forecast_out
from app.cover.tallies import Facts, add_up, read
from app.production.schemas import Gap
from app.settings import Settings
from app.shared.names import fold_name
from app.shared.speech import N_
from app.standards.planning import Amount, Forward, forward_cover


class Outlook(NamedTuple):
    """What a key has, what is planned to be taken of it, and what is taken a day after that."""

    tally: Tally
    planned: Sequence[Amount]
    average: Fraction
    """What was taken a day in the long window."""
    foresight: Foresight

    @property
    def then(self) -> Fraction:
        """Say what is taken a day where nothing is planned."""
        found = self.foresight.forecast
        return self.average if found is None else found.daily_g

    @property
    def basis(self) -> Basis:
        return Basis.AVERAGE if self.foresight.forecast is None else Basis.FORECAST

    def lasts(self, stock_g: int) -> Forward:
        """Step through the plan."""
        return forward_cover(stock_g, self.planned, self.then)

    def ends(self) -> tuple[bool, Fraction, str]:
        """Order by what ends first."""
        days = self.lasts(self.tally.available_g).days
        return days is None, days or Fraction(), self.tally.key


class Known(NamedTuple):
    """What there is by one thing and what was used of it, and over what time that is looked at."""

    by: By
    frame: Frame
    facts: Facts
    weeks: int
    """Over how many weeks demand is looked at for a forecast."""

    @property
    def over(self) -> Window:
        """The window whose average goes on where there is no forecast: the long one."""
        return self.frame.usual[-1]

    def tallies(self) -> dict[str, Tally]:
        """Add up what there is, by folded key."""
        return add_up(self.facts, self.by, self.over.first).found

    def outlook(self, tally: Tally, planned: Sequence[Amount] = ()) -> Outlook:
        """Set what there is of a key against what is planned to be taken of it."""
        average = Fraction(tally.used_g(self.over.first)) / self.over.days
        foresight = foresee(tally, self.by, self.frame.as_of, self.weeks)
        return Outlook(tally, planned, average, foresight)


class Ahead(NamedTuple):
    """Everything that looking ahead by one thing needs, read once."""

    known: Known
    house: House
    plan: Plan
    packed: Packed


def frame_ahead(settings: Settings) -> Frame:
    """Settle from when on is looked ahead: calendar days, from tomorrow on."""
    return frame_of(Asked(None, None, open_days=False), settings)


def know(session: Session, settings: Settings, by: By, *, yields: bool = False) -> Known:
    """Read stock and use."""
    frame = frame_ahead(settings)
    weeks = weeks_of(by, settings)
    facts = read(
        session, frame.as_of, settings, days=max(frame.usual[-1].days, WEEK * weeks),
        sites=by == "site", yields=yields,
    )  # fmt: skip
    return Known(by, frame, facts, weeks)


def look_ahead(session: Session, settings: Settings, by: By, days: int) -> Ahead:
    """Read stock, use and the plan of so many days."""
    known = know(session, settings, by, yields=True)
    facts = known.facts
    house = explosion.house(session, facts)
    packed = explosion.packed(session, facts.first, facts.as_of) if by == "product" else {}
    return Ahead(known, house, plan(session, facts, house, days), packed)


def outlooks(ahead: Ahead, gaps: list[Gap]) -> Iterator[Outlook]:
    """Set what is there against what is planned, key by key."""
    if ahead.known.by == "product":
        yield from _of_products(ahead, gaps)
        return
    planned: dict[str, list[Amount]] = {}
    found = ahead.known.tallies()
    for name, taken, share in _planned(ahead):
        key = fold_name(name)
        days = planned.setdefault(key, [0] * ahead.plan.days)
        # What is wanted and nowhere there runs out first of all.
        found.setdefault(key, Tally(name))
        for day, grams in taken.items():
            days[day] += grams * share
    for key, tally in found.items():
        yield ahead.known.outlook(tally, planned.get(key, [0] * ahead.plan.days))


def _planned(ahead: Ahead) -> Iterator[tuple[str, Counter[int], Amount]]:
    """Say what the plan takes by the keys that are asked for: by day, and how much of that."""
    if ahead.known.by == "component":
        for name, taken in ahead.plan.components.items():
            yield name, taken, 1
        return
    shares = _shares(ahead.known)
    for lot, taken in ahead.plan.lots.items():
        for key, share in shares[lot].items():
            yield key, taken, share


def _shares(known: Known) -> Mapping[str, Mapping[str, Amount]]:
    """Say to what each lot counts, and with which share: to sites as its usable stock stands."""
    facts = known.facts
    if known.by == "lot":
        return {lot.code: {lot.code: 1} for lot in facts.lots.values()}
    if known.by == "origin":
        return {lot.code: {lot.origin: 1} for lot in facts.lots.values()}
    stands: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for there in facts.stock:
        usable_g = there.on_hand_g - there.held_g
        stands[facts.lots[there.lot_id].code][facts.site(there.place_id)] += usable_g
    return {
        lot: {site: Fraction(usable_g, sites.total()) for site, usable_g in sites.items()}
        for lot, sites in stands.items()
        if sites.total()
    }


def _of_products(ahead: Ahead, gaps: list[Gap]) -> Iterator[Outlook]:
    """Do so for each product, by the component that ends first."""
    known = ahead.known
    stock = add_up(known.facts, "component", known.over.first).found
    for made, tallies in tallies_of(ahead.house, ahead.packed, stock, gaps):
        roasted = level(ahead.plan.products[made.product.id or 0], ahead.plan.days)
        yield min(
            (
                known.outlook(each, [grams * made.green[each.component or ""] for grams in roasted])
                for each in tallies
            ),
            key=Outlook.ends,
        )


def forward(session: Session, by: By, days: int | None, settings: Settings) -> ForwardOut:
    """Say how far what is there goes against what is planned."""
    ahead = look_ahead(session, settings, by, days or settings.cover_plan_days)
    gaps: list[Gap] = []
    rows = sorted(outlooks(ahead, gaps), key=Outlook.ends)
    as_of = ahead.known.frame.as_of
    return ForwardOut(
        by=by,
        as_of=as_of,
        plan_days=ahead.plan.days,
        window_days=ahead.known.over.days,
        items=[_row(each, as_of) for each in rows],
        short_g=ahead.plan.short_g,
        gaps=gaps,
    )


def _row(each: Outlook, as_of: date) -> ForwardRow:
    tally = each.tally
    usable, released = each.lasts(tally.available_g), each.lasts(tally.on_hand_g)
    return ForwardRow(
        key=tally.key,
        name=tally.name,
        component=tally.component,
        on_hand_g=tally.on_hand_g,
        held_g=tally.held_g,
        available_g=tally.available_g,
        planned_g=ceil(sum(each.planned)),
        after_plan=each.basis,
        daily_use_kg=kg_a_day(each.then),
        average_use_kg=kg_a_day(each.average),
        days_of_cover=number(usable.days),
        runs_out_on=day_of(as_of, usable.empty_on),
        days_if_released=number(released.days),
        runs_out_if_released_on=day_of(as_of, released.empty_on),
        note=None if usable.days is not None else N_("neither plan nor use takes all of it"),
        forecast=forecast_out(each.foresight, tally.available_g),
        no_forecast=each.foresight.why_none,
    )


def day_of(as_of: date, number: int | None) -> date | None:
    """Name a day that is so many after another; None beyond a hundred years."""
    return None if number is None else Calendar().after(as_of, number)

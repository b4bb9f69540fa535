"""Whatever is booked in whatever order, the book accepts, refuses and holds what a model says."""

from collections import Counter
from collections.abc import Callable
from contextlib import AbstractContextManager
from functools import partial

import hypothesis
from hypothesis.stateful import initialize, invariant, run_state_machine_as_test
from sqlalchemy import Engine, select
from sqlmodel import col

from app.green.actions import SUPPLIERS
from app.green.reservations.queries import stock_of_lots
from app.green.schemas import SupplierIn
from app.ledger import cards
from app.ledger.checks import check_book
from app.ledger.queries import on_hold, unit_by_code
from app.ledger.tables import Unit
from app.packing.actions import PRODUCTS
from app.packing.materials.actions import take_in
from app.packing.materials.queries import MATERIALS
from app.packing.materials.queries import lot as material_lot
from app.packing.materials.schemas import MaterialIn, MaterialLotIn
from app.packing.materials.tables import MaterialKind, MaterialUnit
from app.packing.schemas import ProductIn
from app.places.actions import add_location
from app.places.schemas import LocationIn
from app.places.tables import Location, PlaceKind
from app.quality.tables import Verdict
from app.roasting.batches.queries import batches
from app.roasting.machines import MACHINES
from app.roasting.schemas import MachineIn
from app.roasting.styles.actions import add_style
from app.roasting.styles.schemas import StyleIn
from app.sending.actions import CUSTOMERS
from app.sending.cases.contents import cased_bags
from app.sending.crates.actions import count as count_crates
from app.sending.crates.schemas import CrateCountIn, CrateKindIn
from app.sending.crates.shelf import CRATE_KINDS
from app.sending.crates.stock import in_house
from app.sending.free import kept_bags
from app.sending.schemas import CustomerIn
from app.sending.tables import CustomerKind
from app.shared.db import reading
from app.shared.mass import kg_from_grams
from app.shared.times import now
from tests.ledger.machine.acts_undone import UndoneActs
from tests.ledger.machine.things import BAG_G, CRATES, FILM, PLACES, ROASTER_CAPACITY_G

KINDS = {"SILO": PlaceKind.SILO, "TRAY": PlaceKind.TRAY}

BOUNDS = hypothesis.settings(
    max_examples=10,
    stateful_step_count=40,
    derandomize=True,
    deadline=None,
    suppress_health_check=list(hypothesis.HealthCheck),
)
"""The same walks on every run; enough of them that each rule is met and broken many times."""


class Book(UndoneActs):
    """A roastery that books at random."""

    def _furnish(self) -> None:
        self._book(lambda pen: cards.add(pen, SUPPLIERS, SupplierIn(name="Finca")))
        self._book(lambda pen: cards.add(pen, CUSTOMERS, CustomerIn(name="Café Nord")))
        for place in PLACES:
            asked = LocationIn(code=place, kind=KINDS.get(place, PlaceKind.RACK))
            self._book(partial(add_location, asked=asked))
        drum = MachineIn.model_validate(
            {"code": "DRUM", "kind": "roaster", "capacity_kg": kg_from_grams(ROASTER_CAPACITY_G)}
        )
        self._book(lambda pen: cards.add(pen, MACHINES, drum))
        self._book(lambda pen: add_style(pen, StyleIn(name="Filter")))
        bag = ProductIn(sku="BAG", name="House", nominal_g=BAG_G)
        self._book(lambda pen: cards.add(pen, PRODUCTS, bag))
        self._furnish_packing()

    def _furnish_packing(self) -> None:
        counter = CustomerIn(name="Counter", kind=CustomerKind.CONSUMERS)
        self._book(lambda pen: cards.add(pen, CUSTOMERS, counter))
        film = MaterialIn(code="FILM", name="Film", kind=MaterialKind.FILM, unit=MaterialUnit.PIECE)
        self._book(lambda pen: cards.add(pen, MATERIALS, film))
        lot = MaterialLotIn.model_validate({"code": "FILM-1", "material": "FILM", "quantity": FILM})
        self._book(lambda pen: take_in(pen, lot))
        self._book(lambda pen: cards.add(pen, CRATE_KINDS, CrateKindIn(name="Blue")))
        crates = CrateCountIn(kind="Blue", counted=CRATES, reason="bought")
        self._book(lambda pen: count_crates(pen, crates))

    @initialize()
    def begin(self) -> None:
        """Start with one of everything, so that every rule has something to work on."""
        self._furnish()
        self._receive([6000, 5000, 4000])
        self._receive([6000, 200])
        one, other, third = self._model.of("sack")[:3]
        self._roast(Counter({one: 3000, other: 2000}), [], 4250)
        self._roast(Counter({other: 2000}), [], 1700, passes=False)
        batch, poor = self._model.of("roast")
        self._cup(poor, Verdict.BLEND_IN, 40)
        self._plan(Counter({self._model.of("lot")[0]: 1500}))
        self._roast(Counter({third: 1500}), [], 1300, to="SILO", batch=1)
        self._roast(Counter({third: 700}), [], 600, to="SILO")
        self._blend(Counter({batch: 2000}))
        self._pack(Counter({batch: 1000, self._model.of("blend")[0]: 1000}), bags=8)
        self._pack(Counter({batch: 500}), bags=2)
        self._pack(Counter(), Counter({"SILO": 333}), bags=1)
        packed, also, _ = self._model.of("pack")
        self._send(Counter({packed: 5, also: 1}))
        self._take_back(self._model.of("dispatch")[0], Counter({packed: 2}))
        self._build(Counter({packed: 2}))

    @invariant()
    def what_is_left_is_what_the_model_has(self) -> None:
        with reading(self._engine) as session:
            rows = session.execute(
                select(
                    col(Unit.code), col(Unit.left_g), col(Unit.voided_entry_id), col(Location.code)
                ).outerjoin(Location, col(Location.id) == col(Unit.location_id))
            ).all()
            held = session.scalars(select(col(Unit.code)).where(on_hold(col(Unit.id)))).all()
        assert {code: (left_g, voided is not None) for code, left_g, voided, _ in rows} == {
            code: (unit.left_g, unit.voided) for code, unit in self._model.units.items()
        }
        assert set(held) == {code for code in self._model.units if self._model.is_held(code)}

        assert {code: place for code, left_g, _, place in rows if left_g} == {
            code: unit.place for code, unit in self._model.units.items() if unit.left_g
        }

    @invariant()
    def packing_material_and_crates_are_where_the_model_has_them(self) -> None:
        with reading(self._engine) as session:
            film = material_lot(session, "FILM-1").left
            kind = cards.named(session, CRATE_KINDS, "Blue", "").id or 0
            house = in_house(session, [kind])[kind]
        assert film == self._model.film_left() * 1000 >= 0
        assert house == CRATES - self._model.crates_away()

    @invariant()
    def green_is_there_held_or_kept_for_one_batch(self) -> None:
        lots, plans = self._model.of("lot"), self._model.plans
        with reading(self._engine) as session:
            ids = {lot: unit_by_code(session, lot).id for lot in lots}
            found = stock_of_lots(session, list(ids.values()))
            roasted = [(batch.id, batch.state, batch.roast) for batch in batches(session, plans)]
        for lot, number in ids.items():
            stock = found[number]
            shelf = (stock.on_hand_g, stock.available_g, stock.held_g, stock.reserved_g)
            assert shelf == self._model.shelf(lot)
            assert stock.on_hand_g == sum(shelf[1:])
            assert stock.reserved_g + stock.reserved_short_g == self._model.promised(lot)
        assert roasted == [
            (
                number,
                "cancelled" if plan.cancelled else "roasted" if roast else "planned",
                roast,
            )
            for number, plan in sorted(plans.items())
            for roast in [self._model.roast_of(number)]
        ]

    @invariant()
    def bags_in_cases_are_left(self) -> None:
        adjusted = {each.code for each in self._model.by_hand.values()}
        packs = {
            code: self._model.cased(code)
            for code in self._model.of("pack", "return")
            if not self._model.units[code].voided
        }
        with reading(self._engine) as session:
            ids = {code: unit_by_code(session, code).id for code in packs}
            cased = cased_bags(session, list(ids.values()))
            kept = kept_bags(session, list(ids.values()), now())
        for code, bags in packs.items():
            assert cased[ids[code]] == bags
            assert kept[ids[code]] == self._model.kept(code)
            assert code in adjusted or bags * BAG_G <= self._model.units[code].left_g

    @invariant()
    def the_book_is_sound(self) -> None:
        with reading(self._engine) as session:
            assert list(check_book(session)) == []


def test_the_book_does_what_the_model_says_whatever_is_booked(
    new_book: Callable[[], AbstractContextManager[Engine]],
) -> None:
    class Here(Book):
        """On the database of this test."""

    Here.new_book = staticmethod(new_book)
    run_state_machine_as_test(Here, settings=BOUNDS)

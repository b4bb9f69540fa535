"""Whatever is booked in whatever order, the book accepts, refuses and holds what a model says."""

from collections import Counter
from collections.abc import Callable, Collection
from contextlib import AbstractContextManager
from copy import deepcopy
from functools import partial
from typing import ClassVar, TypeVar

import hypothesis
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from pydantic import BaseModel
from sqlalchemy import Engine, func, select
from sqlmodel import col

from app.green.actions import SUPPLIERS, receive
from app.green.counting.actions import approve, begin, close, take_down
from app.green.counting.schemas import ApprovalIn, CountIn, CountLinesIn
from app.green.schemas import DeliveryIn, SupplierIn
from app.ledger import actions as ledger
from app.ledger import cards
from app.ledger.checks import check_book
from app.ledger.corrections.acts import void_adjustment
from app.ledger.corrections.schemas import ActVoidIn
from app.ledger.posting import Pen
from app.ledger.queries import on_hold
from app.ledger.schemas import AdjustmentIn, HoldIn, ReleaseIn, VoidIn
from app.ledger.tables import Adjustment, Unit
from app.packing.actions import PRODUCTS, blend, pack
from app.packing.schemas import BlendIn, PackIn, ProductIn
from app.places.actions import add_location, move
from app.places.schemas import LocationIn, MoveIn
from app.places.tables import PlaceKind
from app.quality.actions import cup
from app.quality.schemas import CuppingIn
from app.quality.tables import Verdict
from app.roasting.actions import roast
from app.roasting.machines import MACHINES
from app.roasting.schemas import MachineIn, RoastIn
from app.sending.actions import CUSTOMERS, dispatch, take_back
from app.sending.schemas import CustomerIn, DispatchIn, ReturnIn
from app.settings import Settings
from app.shared.db import reading, writing
from app.shared.mass import kg_from_grams
from app.shared.problems import Refused
from tests.ledger.model import (
    BAG_G,
    EMPTIED_TOLERANCE_PCT,
    ROASTER_CAPACITY_G,
    Adjusted,
    Model,
    Paper,
    Thing,
)
from tests.makers import PASSING

M = TypeVar("M", bound=BaseModel)
PLACES = ("A-01", "B-02")
RARELY = st.sampled_from([False, False, False, False, True])
MOSTLY = st.sampled_from([True, True, True, False])
MOST_LOTS = 6
MOST_HOLDS = 3
MOST_COUNTS = 2
MADE = ("sack", "roast", "blend", "pack", "return")

BOUNDS = hypothesis.settings(
    max_examples=12,
    stateful_step_count=40,
    derandomize=True,
    deadline=None,
    suppress_health_check=list(hypothesis.HealthCheck),
)
"""The same walks on every run; enough of them that each rule is met and broken many times."""


class Book(RuleBasedStateMachine):
    """A roastery that books at random."""

    new_book: ClassVar[Callable[[], AbstractContextManager[Engine]]]

    def __init__(self) -> None:
        super().__init__()
        self._opened = type(self).new_book()
        self._engine = self._opened.__enter__()
        self._settings = Settings(database_url="sqlite://", _env_file=None)
        self._model = Model()
        self._said: dict[str, str] = {}
        """What an act says of the one that it replaces."""
        self._wrong: set[str] = set()
        """Why that one cannot be replaced."""

    def teardown(self) -> None:
        self._opened.__exit__(None, None, None)

    def _furnish(self) -> None:
        self._book(lambda pen: cards.add(pen, SUPPLIERS, SupplierIn(name="Finca")))
        self._book(lambda pen: cards.add(pen, CUSTOMERS, CustomerIn(name="Café Nord")))
        for place in PLACES:
            rack = LocationIn(code=place, kind=PlaceKind.RACK)
            self._book(partial(add_location, asked=rack))
        drum = MachineIn.model_validate(
            {"code": "DRUM", "kind": "roaster", "capacity_kg": kg_from_grams(ROASTER_CAPACITY_G)}
        )
        self._book(lambda pen: cards.add(pen, MACHINES, drum))
        bag = ProductIn(sku="BAG", name="House", nominal_g=BAG_G)
        self._book(lambda pen: cards.add(pen, PRODUCTS, bag))

    @initialize()
    def begin(self) -> None:
        """Start with one of everything, so that every rule has something to work on."""
        self._furnish()
        self._receive([6000, 5000, 4000])
        self._receive([6000, 200])
        one, other, _ = self._model.of("sack")[:3]
        self._roast(Counter({one: 3000, other: 2000}), [], 4250)
        self._roast(Counter({other: 2000}), [], 1700, passes=False)
        batch = self._model.of("roast")[0]
        self._blend(Counter({batch: 2000}))
        self._pack(Counter({batch: 1000, self._model.of("blend")[0]: 1000}), bags=8)
        self._pack(Counter({batch: 500}), bags=2)
        packed, also = self._model.of("pack")
        self._send(Counter({packed: 5, also: 1}))
        self._take_back(self._model.of("dispatch")[0], Counter({packed: 2}))

    @precondition(lambda self: len(self._model.of("lot")) < MOST_LOTS)
    @rule(nets=st.lists(st.integers(1, 6000), min_size=1, max_size=3), held=RARELY)
    def receive(self, nets: list[int], held: bool) -> None:
        self._receive(nets, held=held)

    def _receive(self, nets: list[int], *, held: bool = False) -> None:
        sacks = [{"net_kg": kg_from_grams(net)} for net in nets]
        lot = {"name": "Sidama", "origin": "ET", "sacks": sacks}
        asked = DeliveryIn.model_validate(
            {"supplier": "Finca", "received_at": "2026-03-02T08:00:00Z", "lots": [lot]}
        )
        arrival = self._settings.model_copy(update={"hold_on_arrival": held})

        made = self._book(lambda pen: receive(pen, asked), settings=arrival)

        assert made is not None
        (lot_made,) = made.lots
        codes = tuple(sack.code for sack in lot_made.sacks)
        self._model.make(lot_made.code, Thing("lot", sum(nets), sum(nets), born_with=codes))
        for code, net in zip(codes, nets, strict=True):
            self._model.make(code, Thing("sack", net, net, Counter({lot_made.code: net})))
        if held:
            self._model.holds[len(self._model.holds) + 1] = (lot_made.code,)

    @rule(data=st.data(), place=st.sampled_from(PLACES))
    def move(self, data: st.DataObject, place: str) -> None:
        codes = self._pick_some(data, *MADE)
        asked = MoveIn(sacks=codes, to=place)

        if self._book(lambda pen: move(pen, asked), self._model.moving(codes, place)):
            for code in codes:
                self._model.units[code].place = place

    @rule(data=st.data(), lighter=st.booleans())
    def adjust(self, data: st.DataObject, lighter: bool) -> None:
        code = self._pick(data, *MADE)
        grams = self._amount(data, code) * (-1 if lighter else 1)
        asked = AdjustmentIn.model_validate(
            {"unit": code, "kg": kg_from_grams(grams), "reason": "count"}
        )

        if self._book(lambda pen: ledger.adjust(pen, asked), self._model.adjusting(code, grams)):
            self._model.adjust(code, grams)
            adjusted = Adjusted(code, grams, self._model.taken)
            self._model.by_hand[self._newest_adjustment()] = adjusted

    def _newest_adjustment(self) -> int:
        with reading(self._engine) as session:
            return session.scalar(select(func.max(col(Adjustment.id)))) or 0

    @precondition(lambda self: self._model.by_hand)
    @rule(data=st.data(), of_another_act=RARELY)
    def void_adjustment(self, data: st.DataObject, of_another_act: bool) -> None:
        known = sorted(self._model.by_hand)
        number = data.draw(st.sampled_from(known), "adjustment")
        refusals = self._model.unadjusting(number)
        if of_another_act:
            number, refusals = self._newest_adjustment(), {"already-done", "not-voidable"}
            if number in self._model.by_hand:
                return
        asked = ActVoidIn(reason="a slip")

        if self._book(lambda pen: void_adjustment(pen, number, asked), refusals):
            self._model.unadjust(number)

    @precondition(lambda self: len(self._model.papers) < MOST_COUNTS)
    @rule(data=st.data())
    def open_count(self, data: st.DataObject) -> None:
        code = self._pick(data, "lot")
        refusals = self._model.naming(code, "lot")

        if made := self._book(lambda pen: begin(pen, CountIn(lot=code)), refusals):
            self._model.papers[made.id] = Paper()

    @precondition(lambda self: self._model.papers)
    @rule(data=st.data(), found=MOSTLY)
    def count(self, data: st.DataObject, found: bool) -> None:
        number = data.draw(st.sampled_from(sorted(self._model.papers)), "count")
        code = self._pick(data, "sack")
        grams = self._amount(data, code) if found else 0
        said = {"kg": kg_from_grams(grams)} if found else {"found": False}
        asked = CountLinesIn.model_validate({"lines": [{"sack": code} | said]})
        refusals = self._model.naming(code, "sack")
        if self._model.papers[number].closed:
            refusals.add("count-state")

        if self._book(lambda pen: take_down(pen, number, asked), refusals):
            self._model.count(number, code, grams)

    @precondition(lambda self: self._model.papers)
    @rule(data=st.data())
    def approve_count(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self._model.papers)), "count")
        paper = self._model.papers[number]
        self._book(lambda pen: close(pen, number), {"already-done"} if paper.closed else ())
        paper.closed = True
        asked, refusals = ApprovalIn(), self._model.approving(number)

        self._book(lambda pen: approve(pen, number, asked), {"own-count"})
        if self._book(lambda pen: approve(pen, number, asked), refusals, who="somebody else"):
            self._model.approve(number)

    @precondition(lambda self: len(self._model.open_holds()) < MOST_HOLDS)
    @rule(data=st.data())
    def hold(self, data: st.DataObject) -> None:
        codes = self._pick_some(data, *MADE, "lot")
        asked = HoldIn(units=codes, reason="it smells")

        refusals = {"voided"} if any(self._model.units[code].voided for code in codes) else set()

        if made := self._book(lambda pen: ledger.hold(pen, asked), refusals):
            self._model.holds[made.id] = tuple(codes)

    @rule(data=st.data())
    def release(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(self._model.open_holds() or [1]) | st.just(1), "hold")
        refusals = {"already-done"} if number in self._model.released else set()

        if self._book(
            lambda pen: ledger.release(pen, number, ReleaseIn(reason="it does not")), refusals
        ):
            self._model.released.add(number)

    @precondition(lambda self: self._model.of("sack"))
    @rule(data=st.data(), passes=MOSTLY, gain=RARELY)
    def roast(self, data: st.DataObject, passes: bool, gain: bool) -> None:
        draws = self._parts(data, "sack")
        emptied = [code for code in draws if data.draw(RARELY, "emptied")]
        for code in emptied:
            draws[code] = self._last_scoop(data, code)
        charge_g = sum(draws.values())
        yield_pct = data.draw(st.integers(80, 100), "yield")
        end_g = charge_g + 1 if gain else max(1, charge_g * yield_pct // 100)
        self._roast(draws, emptied, end_g, passes=passes)

    def _roast(
        self, draws: Counter[str], emptied: Collection[str], end_g: int, *, passes: bool = True
    ) -> None:
        refusals, booked = self._model.roasting(draws, emptied, end_g)
        listed = [
            {"sack": code, "kg": kg_from_grams(grams), "emptied": code in emptied}
            for code, grams in draws.items()
        ]
        gate = PASSING | {"loss_range_pct": [0, 100], "profile_hit": passes}
        asked = RoastIn.model_validate(
            {"machine": "DRUM", "draws": listed, "end_kg": kg_from_grams(end_g)}
            | gate | self._said
        )  # fmt: skip

        if made := self._book(lambda pen: roast(pen, asked), refusals):
            disposition = "passed" if passes else "set_aside"
            assert made.disposition == disposition
            batch = Thing("roast", end_g, end_g, draws, booked, disposition=disposition)
            self._model.make(made.code, batch)

    @precondition(lambda self: self._model.of("roast"))
    @rule(data=st.data(), released=MOSTLY)
    def cup(self, data: st.DataObject, released: bool) -> None:
        code = data.draw(st.sampled_from(self._model.of("roast")), "roast")
        asked = CuppingIn(verdict=Verdict.RELEASE if released else Verdict.REJECT)

        if self._book(lambda pen: cup(pen, code, asked), self._model.cupping(code)):
            self._model.units[code].disposition = "released" if released else "rejected"

    @precondition(lambda self: self._model.of("roast"))
    @rule(data=st.data())
    def blend(self, data: st.DataObject) -> None:
        self._blend(self._parts(data, "roast", "blend"))

    def _blend(self, parts: Counter[str]) -> None:
        asked = BlendIn.model_validate({"parts": _listed(parts)} | self._said)
        refusals = self._model.drawing(parts, "roast", "blend")

        if made := self._book(lambda pen: blend(pen, asked), refusals):
            whole_g = sum(parts.values())
            self._model.make(made.code, Thing("blend", whole_g, whole_g, parts))

    @precondition(lambda self: self._model.of("roast"))
    @rule(data=st.data(), more=RARELY)
    def pack(self, data: st.DataObject, more: bool) -> None:
        parts = self._parts(data, "roast", "blend")
        self._pack(parts, max(1, sum(parts.values()) // BAG_G + more))

    def _pack(self, parts: Counter[str], bags: int) -> None:
        asked = PackIn.model_validate(
            {"product": "BAG", "from": _listed(parts), "bags": bags} | self._said
        )

        if made := self._book(lambda pen: pack(pen, asked), self._model.packing(parts, bags)):
            packed_g = bags * BAG_G
            self._model.make(made.code, Thing("pack", packed_g, packed_g, parts))

    @precondition(lambda self: self._model.of("pack"))
    @rule(data=st.data())
    def send(self, data: st.DataObject) -> None:
        codes = self._pick_some(data, "pack", "return")
        self._send(Counter({code: self._bags(data, self._model.units[code]) for code in codes}))

    def _send(self, bags: Counter[str]) -> None:
        grams = Counter({code: count * BAG_G for code, count in bags.items()})
        asked = DispatchIn.model_validate(
            {"customer": "Café Nord", "lines": _bagged(bags)} | self._said
        )
        refusals = self._model.drawing(grams, "pack", "return")

        if made := self._book(lambda pen: dispatch(pen, asked), refusals):
            whole_g = sum(grams.values())
            sent = Thing("dispatch", whole_g, whole_g, grams, bags=Counter(bags))
            self._model.make(made.code, sent)

    @precondition(lambda self: self._model.of("dispatch"))
    @rule(data=st.data())
    def take_back(self, data: st.DataObject) -> None:
        self._return_some(data)

    def _return_some(self, data: st.DataObject) -> None:
        code = self._pick(data, "dispatch")
        out = +self._model.units[code].bags or Counter({self._pick(data, "pack"): 1})
        some = data.draw(st.lists(st.sampled_from(sorted(out)), min_size=1, unique=True), "packs")
        self._take_back(code, Counter({
            unit: data.draw(st.integers(1, out[unit]) | st.just(out[unit] + 1), "bags")
            for unit in some
        }))  # fmt: skip

    def _take_back(self, code: str, bags: Counter[str]) -> None:
        asked = ReturnIn.model_validate(
            {"dispatch": code, "lines": _bagged(bags), "reason": "torn"} | self._said
        )

        if made := self._book(lambda pen: take_back(pen, asked), self._model.returning(code, bags)):
            codes = tuple(line.code for line in made.lines)
            for born, (unit, count) in zip(codes, bags.items(), strict=True):
                grams = count * BAG_G
                came = Counter({unit: grams})
                booked = Counter({code: -grams, unit: grams})
                back = Thing("return", grams, grams, came, booked, codes, sent_in=code)
                back.own_hold = made.hold
                self._model.make(born, back)
                self._model.units[code].bags[unit] -= count
            self._model.holds[made.hold] = codes

    @rule(data=st.data())
    def void(self, data: st.DataObject) -> None:
        code = self._pick(data, "lot", "roast", "blend", "pack", "dispatch", "return")
        asked = VoidIn(reason="a slip")

        if self._book(lambda pen: ledger.void(pen, code, asked), self._model.voiding(code)):
            self._model.void(code)

    @rule(data=st.data(), slip=RARELY)
    def void_with_all_that_was_made(self, data: st.DataObject, slip: bool) -> None:
        code = self._pick(data, "lot", "roast", "blend", "pack", "dispatch", "return")
        named = self._model.made_from(code)
        if slip:
            named = named[1:] or [self._pick(data, *MADE)]
        asked = VoidIn.model_validate({"reason": "a slip", "with": named})

        if self._book(
            lambda pen: ledger.void(pen, code, asked), self._model.voiding_with(code, named)
        ):
            for each in (*named, code):
                self._model.void(each)

    @rule(data=st.data(), kind=st.sampled_from(["roast", "blend", "pack", "dispatch", "return"]))
    def correct(self, data: st.DataObject, kind: str) -> None:
        code, real = self._pick_correctable(data, kind), self._model
        self._wrong = real.correcting(code, kind)
        self._said = {"corrects": code, "correction_reason": "mistyped"}
        self._model = deepcopy(real) if self._wrong else real.without(code)
        known = set(self._model.units)

        self._act(data, kind)

        news = [each for each in self._model.units if each not in known]
        if news:
            self._model.take_over(real.units[code].born_with or (code,), news)
        else:
            self._model = real
        self._said, self._wrong = {}, set()

    def _pick_correctable(self, data: st.DataObject, kind: str) -> str:
        unused = [each for each in self._model.of(kind) if not self._model.correcting(each, kind)]
        return data.draw(st.sampled_from(unused) if unused else self._some_unit(kind), "corrects")

    def _act(self, data: st.DataObject, kind: str) -> None:
        """Book what such a unit comes from."""
        if kind == "roast":
            draws = self._parts(data, "sack")
            self._roast(draws, [], max(1, sum(draws.values()) * 17 // 20))
        elif kind == "blend":
            self._blend(self._parts(data, "roast", "blend"))
        elif kind == "pack":
            parts = self._parts(data, "roast", "blend")
            self._pack(parts, max(1, sum(parts.values()) // BAG_G))
        elif kind == "dispatch":
            bags = {
                code: self._bags(data, self._model.units[code])
                for code in self._pick_some(data, "pack", "return")
            }
            self._send(Counter(bags))
        else:
            self._return_some(data)

    @invariant()
    def what_is_left_is_what_the_model_has(self) -> None:
        with reading(self._engine) as session:
            rows = session.execute(
                select(col(Unit.code), col(Unit.left_g), col(Unit.voided_entry_id))
            ).all()
            held = session.scalars(select(col(Unit.code)).where(on_hold(col(Unit.id)))).all()
        assert {code: (left_g, voided is not None) for code, left_g, voided in rows} == {
            code: (unit.left_g, unit.voided) for code, unit in self._model.units.items()
        }
        assert set(held) == {code for code in self._model.units if self._model.is_held(code)}

    @invariant()
    def the_book_is_sound(self) -> None:
        with reading(self._engine) as session:
            assert list(check_book(session)) == []

    def _book(
        self,
        act: Callable[[Pen], M],
        refusals: Collection[str] = (),
        settings: Settings | None = None,
        who: str = "somebody",
    ) -> M | None:
        """Book one act: it is made, or refused with one of the predicted refusals."""
        made, refused = None, "accepted"
        try:
            with writing(self._engine) as session:
                made = act(Pen(session, who, settings or self._settings))
        except Refused as refusal:
            refused = refusal.slug
        assert refused in ({*refusals, *self._wrong} or {"accepted"})
        return made

    def _pick(self, data: st.DataObject, *kinds: str) -> str:
        """Choose a unit: mostly one that can be used, at times a spent or wrong one."""
        return data.draw(self._some_unit(*kinds), "unit")

    def _pick_some(self, data: st.DataObject, *kinds: str) -> list[str]:
        picked = st.lists(self._some_unit(*kinds), min_size=1, max_size=3, unique=True)
        return data.draw(picked, "units")

    def _some_unit(self, *kinds: str) -> st.SearchStrategy[str]:
        fitting = self._model.of(*kinds)
        usable = [
            code
            for code in fitting
            if self._model.units[code].left_g and not self._model.drawing({code: 1}, *kinds)
        ]
        preferred = [usable] * 5 + [fitting] * 2 + [sorted(self._model.units)]
        return st.one_of([st.sampled_from(units) for units in preferred if units])

    def _amount(self, data: st.DataObject, code: str) -> int:
        """Choose grams around what is left: some, the last one, or one too many."""
        left_g = self._model.units[code].left_g
        some = st.integers(1, max(left_g, 1))
        edges = st.sampled_from([max(left_g, 1), max(left_g, 1), left_g + 1])
        return data.draw(some | some | edges, "grams")

    def _last_scoop(self, data: st.DataObject, code: str) -> int:
        """Choose what came out of a sack that was used up: about what the book had left."""
        sack = self._model.units[code]
        tolerance_g = sack.made_g * EMPTIED_TOLERANCE_PCT // 100
        apart = [0, 1, -1, tolerance_g, -tolerance_g, tolerance_g + 1, -tolerance_g - 1]
        return max(1, sack.left_g + data.draw(st.sampled_from(apart), "apart"))

    def _bags(self, data: st.DataObject, unit: Thing) -> int:
        """Choose bags: some, all there are, or one too many."""
        there = unit.left_g // BAG_G
        return data.draw(st.integers(1, max(there, 1)) | st.just(there + 1), "bags")

    def _parts(self, data: st.DataObject, *kinds: str) -> Counter[str]:
        return Counter({
            code: self._amount(data, code) for code in self._pick_some(data, *kinds)
        })  # fmt: skip


def _listed(parts: Counter[str]) -> list[dict[str, object]]:
    return [{"unit": code, "kg": kg_from_grams(grams)} for code, grams in parts.items()]


def _bagged(bags: Counter[str]) -> list[dict[str, object]]:
    return [{"pack": code, "bags": count} for code, count in bags.items()]


def test_the_book_does_what_the_model_says_whatever_is_booked(
    new_book: Callable[[], AbstractContextManager[Engine]],
) -> None:
    class Here(Book):
        """On the database of this test."""

    Here.new_book = staticmethod(new_book)
    run_state_machine_as_test(Here, settings=BOUNDS)

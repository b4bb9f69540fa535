"""Acts on green coffee, and on any unit: receive, move, adjust, count, hold, plan."""

from collections import Counter

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule
from sqlalchemy import func, select
from sqlmodel import col

from app.green.actions import receive
from app.green.counting.actions import approve, begin, close, take_down
from app.green.counting.schemas import ApprovalIn, CountIn, CountLinesIn
from app.green.schemas import DeliveryIn
from app.ledger import actions as ledger
from app.ledger.corrections.acts import void_adjustment
from app.ledger.corrections.schemas import ActVoidIn
from app.ledger.schemas import AdjustmentIn, HoldIn, ReleaseIn
from app.ledger.tables import Adjustment
from app.places.actions import move
from app.places.schemas import MoveIn
from app.roasting.batches.actions import cancel, plan
from app.roasting.batches.schemas import BatchCancelIn, BatchesIn
from app.shared.db import reading
from app.shared.mass import kg_from_grams
from tests.ledger.machine.book import MADE, MOSTLY, RARELY, Floor
from tests.ledger.machine.things import PLACES, Adjusted, Paper, Planned, Thing

MOST_LOTS = 6
MOST_HOLDS = 3
MOST_COUNTS = 2
MOST_PLANS = 5


class GreenActs(Floor):
    """What is done with green coffee."""

    @precondition(lambda self: len(self._model.of("lot")) < MOST_LOTS)
    @rule(nets=st.lists(st.integers(1, 6000), min_size=1, max_size=3), held=RARELY)
    def receive(self, nets: list[int], held: bool) -> None:
        self._receive(nets, held=held)

    def _receive(self, nets: list[int], *, held: bool = False) -> None:
        sacks = [{"net_kg": kg_from_grams(net)} for net in nets]
        lot = {"name": "Sidama", "origin": "ET", "sacks": sacks}
        asked = DeliveryIn.model_validate(
            {"supplier": "Finca", "received_at": "2026-03-02T08:00:00Z", "lots": [lot]} | self._said
        )
        arrival = self._settings.model_copy(update={"hold_on_arrival": held})

        made = self._book(lambda pen: receive(pen, asked), settings=arrival)

        if made is None:
            return
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

    @precondition(lambda self: len(self._model.plans) < MOST_PLANS)
    @rule(data=st.data())
    def plan(self, data: st.DataObject) -> None:
        self._plan(Counter({
            code: self._around(data, self._model.shelf(code)[1])
            for code in self._pick_some(data, "lot")
        }))  # fmt: skip

    def _plan(self, green: Counter[str]) -> None:
        listed = [{"lot": code, "kg": kg_from_grams(grams)} for code, grams in green.items()]
        asked = BatchesIn.model_validate({"on": "2026-11-27", "style": "Filter", "green": listed})

        if made := self._book(lambda pen: plan(pen, asked), self._model.planning(green)):
            [batch] = made.batches
            self._model.plans[batch.id] = Planned(green)

    @precondition(lambda self: self._model.plans)
    @rule(data=st.data())
    def cancel(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self._model.plans)), "batch")
        asked = BatchCancelIn(reason="nobody ordered it")

        if self._book(lambda pen: cancel(pen, number, asked), self._model.ending(number)):
            self._model.plans[number].cancelled = True

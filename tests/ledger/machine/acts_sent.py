"""Acts with bags: they go into cases, are kept, leave and come back."""

from collections import Counter
from collections.abc import Collection

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from app.sending.actions import dispatch, take_back
from app.sending.cases.actions import build, take_apart
from app.sending.cases.schemas import CaseIn, TakenOut
from app.sending.picking.actions import cancel, record
from app.sending.picking.schemas import CancelIn, PickIn
from app.sending.sales.actions import sell
from app.sending.sales.schemas import SaleIn
from app.sending.schemas import DispatchIn, ReturnIn
from tests.ledger.machine.book import MOSTLY, Floor, bagged
from tests.ledger.machine.things import BAG_G, CRATES, Case, Pick, Thing

MOST_CASES = 5
MOST_PICKS = 5


class SentActs(Floor):
    """What is done with bags."""

    @precondition(lambda self: len(self._model.cases) < MOST_CASES)
    @rule(data=st.data())
    def build(self, data: st.DataObject) -> None:
        self._build(self._some_bags(data))

    def _build(self, bags: Counter[str]) -> None:
        asked = CaseIn.model_validate({"contents": bagged(bags)})

        if made := self._book(lambda pen: build(pen, asked), self._model.building(bags)):
            self._model.cases[made.code] = Case(bags)

    @precondition(lambda self: self._model.cases)
    @rule(data=st.data())
    def take_apart(self, data: st.DataObject) -> None:
        code = data.draw(st.sampled_from(sorted(self._model.cases)), "case")
        refusals = self._model.opening(code)

        if self._book(lambda pen: take_apart(pen, code, TakenOut()), refusals):
            self._model.cases[code].bags.clear()

    @precondition(lambda self: len(self._model.picks) < MOST_PICKS)
    @rule(data=st.data())
    def keep(self, data: st.DataObject) -> None:
        bags = self._some_bags(data)
        asked = PickIn.model_validate({
            "lines": [{"product": "BAG", "bags": bags.total()}], "packs": bagged(bags),
            "reason": "they asked for these",
        })  # fmt: skip

        if made := self._book(lambda pen: record(pen, asked), self._model.picking(bags)):
            self._model.picks[made.id] = Pick(bags)
            for code in bags:
                assert self._model.kept(code) <= self._model.units[code].left_g // BAG_G

    @precondition(lambda self: self._model.picks)
    @rule(data=st.data())
    def give_free(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self._model.picks)), "pick")
        asked = CancelIn(reason="they do not want them")

        if self._book(lambda pen: cancel(pen, number, asked), self._model.ending_pick(number)):
            self._model.picks[number].ended = "cancelled"

    @precondition(lambda self: self._model.of("pack"))
    @rule(data=st.data())
    def send(self, data: st.DataObject) -> None:
        self._send_some(data)

    def _some_bags(self, data: st.DataObject) -> Counter[str]:
        codes = self._pick_some(data, "pack", "return")
        return Counter({code: self._bags(data, self._model.units[code]) for code in codes})

    def _send_some(self, data: st.DataObject) -> None:
        known = sorted(self._model.cases)
        cases = (
            data.draw(st.lists(st.sampled_from(known), max_size=2, unique=True), "cases")
            if known
            else []
        )
        alone = bool(cases) and data.draw(MOSTLY, "cases alone")
        loose = Counter[str]() if alone else self._some_bags(data)
        pick = data.draw(st.sampled_from([None, None, *self._model.picks]), "pick")
        self._send(loose, cases, pick)

    def _send(
        self, loose: Counter[str], cases: Collection[str] = (), pick: int | None = None
    ) -> None:
        whole = sum((self._model.cases[case].bags for case in cases), loose)
        lines = [*bagged(loose), *({"case": case} for case in cases)]
        crates = whole.total() % 2
        asked = DispatchIn.model_validate(
            {"customer": "Café Nord", "lines": lines, "pick": pick}
            | {"crates": [{"kind": "Blue", "count": 1}] if crates else []} | self._said
        )  # fmt: skip
        refusals = self._model.sending(loose, whole, cases, pick)
        if crates > CRATES - self._model.crates_away():
            refusals.add("crates-short")
        if pick is not None:
            refusals |= self._model.ending_pick(pick, self._said.get("corrects"))

        if made := self._book(lambda pen: dispatch(pen, asked), refusals):
            grams = Counter({code: count * BAG_G for code, count in whole.items()})
            sent = Thing("dispatch", grams.total(), grams.total(), grams, bags=Counter(whole))
            sent.crates = crates
            self._model.make(made.code, sent)
            for case in cases:
                self._model.cases[case].sent.append(made.code)
            if pick is not None:
                self._model.picks[pick].ended = made.code

    @precondition(lambda self: self._model.of("pack"))
    @rule(data=st.data())
    def sell(self, data: st.DataObject) -> None:
        bags = self._some_bags(data)
        asked = SaleIn.model_validate(
            {"shop": "Counter", "sold_on": "2026-03-09", "lines": bagged(bags)}
        )

        if made := self._book(
            lambda pen: sell(pen, asked), self._model.sending(bags, bags, (), None)
        ):
            grams = Counter({code: count * BAG_G for code, count in bags.items()})
            sold = Thing("dispatch", grams.total(), grams.total(), grams, bags=Counter(bags))
            self._model.make(made.code, sold)

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
            {"dispatch": code, "lines": bagged(bags), "reason": "torn"} | self._said
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

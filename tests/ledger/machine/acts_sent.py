"""Acts with bags that leave and come back."""

from collections import Counter

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from app.sending.actions import dispatch, take_back
from app.sending.schemas import DispatchIn, ReturnIn
from tests.ledger.machine.book import Floor, bagged
from tests.ledger.machine.things import BAG_G, Thing


class SentActs(Floor):
    """What is done with bags."""

    @precondition(lambda self: self._model.of("pack"))
    @rule(data=st.data())
    def send(self, data: st.DataObject) -> None:
        codes = self._pick_some(data, "pack", "return")
        self._send(Counter({code: self._bags(data, self._model.units[code]) for code in codes}))

    def _send(self, bags: Counter[str]) -> None:
        grams = Counter({code: count * BAG_G for code, count in bags.items()})
        asked = DispatchIn.model_validate(
            {"customer": "Café Nord", "lines": bagged(bags)} | self._said
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

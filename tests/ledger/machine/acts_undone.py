"""Acts that say another one was a mistake: void, void with all that was made, correct."""

from copy import deepcopy

from hypothesis import strategies as st
from hypothesis.stateful import rule

from app.ledger import actions as ledger
from app.ledger.schemas import VoidIn
from tests.ledger.machine.acts_beside import ActsBeside
from tests.ledger.machine.acts_green import GreenActs
from tests.ledger.machine.acts_roasted import TO, RoastedActs
from tests.ledger.machine.acts_sent import SentActs
from tests.ledger.machine.book import MADE, RARELY
from tests.ledger.machine.things import BAG_G


class UndoneActs(GreenActs, RoastedActs, SentActs, ActsBeside):
    """What is taken back."""

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

    @rule(data=st.data(), nets=st.lists(st.integers(1, 6000), min_size=1, max_size=3))
    def correct_a_delivery(self, data: st.DataObject, nets: list[int]) -> None:
        code, real = self._pick(data, "lot"), self._model
        self._wrong = real.correcting_lot(code)
        self._said = {"corrects": code, "correction_reason": "mistyped"}
        self._model = deepcopy(real) if self._wrong else real.without(code)
        known = set(self._model.units)

        self._receive(nets)

        news = [each for each in self._model.units if each not in known]
        if news:
            self._model.take_over_lot((code, *real.units[code].born_with), news)
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
            end_g = max(1, draws.total() * 17 // 20)
            self._roast(draws, [], end_g, to=data.draw(TO, "to"), batch=self._some_batch(data))
        elif kind == "blend":
            self._blend(*self._sources(data), to=data.draw(TO, "to"))
        elif kind == "pack":
            parts, pours = self._sources(data)
            self._pack(parts, pours, bags=max(1, (parts.total() + pours.total()) // BAG_G))
        elif kind == "dispatch":
            self._send_some(data)
        else:
            self._return_some(data)

"""What every act of the machine needs: a book, the model beside it, and something to pick."""

from collections import Counter
from collections.abc import Callable, Collection
from contextlib import AbstractContextManager
from typing import ClassVar, TypeVar

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine
from pydantic import BaseModel
from sqlalchemy import Engine

from app.ledger.posting import Pen
from app.settings import Settings
from app.shared.db import writing
from app.shared.mass import kg_from_grams
from app.shared.problems import Refused
from tests.ledger.machine.model import Model
from tests.ledger.machine.things import BAG_G, EMPTIED_TOLERANCE_PCT, Thing

M = TypeVar("M", bound=BaseModel)
RARELY = st.sampled_from([False, False, False, False, True])
MOSTLY = st.sampled_from([True, True, True, False])
MADE = ("sack", "roast", "blend", "pack", "return")


class Floor(RuleBasedStateMachine):
    """A roastery in which nothing is done yet."""

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
        return self._around(data, self._model.units[code].left_g)

    def _around(self, data: st.DataObject, left_g: int) -> int:
        """Choose some of what is there, the last gram of it, or one too many."""
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


def listed(parts: Counter[str], pours: Counter[str]) -> list[dict[str, object]]:
    """Write down what is drawn from units and what is poured from places."""
    return [
        {what: code, "kg": kg_from_grams(grams)}
        for what, sources in (("unit", parts), ("place", pours))
        for code, grams in sources.items()
    ]


def bagged(bags: Counter[str]) -> list[dict[str, object]]:
    return [{"pack": code, "bags": count} for code, count in bags.items()]

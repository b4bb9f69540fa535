"""Acts beside the coffee, and that they never were: crates, packing material, colours."""

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule
from sqlalchemy import func, select
from sqlmodel import SQLModel

from app.ledger.corrections.schemas import ActVoidIn
from app.packing.materials.actions import change_lot
from app.packing.materials.schemas import LotChangeIn
from app.packing.materials.voids import void_change, void_lot
from app.roasting.colours.actions import read_colour
from app.roasting.colours.schemas import ColourIn
from app.roasting.voids import void_colour
from app.sending.crates.actions import move as move_crates
from app.sending.crates.actions import void as void_crates
from app.sending.crates.schemas import CrateMovementIn
from app.sending.crates.tables import CrateMovement
from app.shared.db import reading
from tests.ledger.machine.book import Floor
from tests.ledger.machine.things import CRATES

SLIP = ActVoidIn(reason="a slip")
MOST_READ = 3


class ActsBeside(Floor):
    """What moves no coffee."""

    @rule()
    def bring_crates_back(self) -> None:
        asked = CrateMovementIn.model_validate(
            {"customer": "Café Nord", "act": "back", "crates": [{"kind": "Blue", "count": 1}]}
        )
        refusals = {"crates-short"} if self._model.crates_away() < 1 else set()

        if self._book(lambda pen: move_crates(pen, asked), refusals):
            self._model.crates_back[self._newest(CrateMovement)] = 1

    @precondition(lambda self: self._model.crates_back)
    @rule(data=st.data())
    def void_crates_that_came_back(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self._model.crates_back)), "movement")
        refusals = set() if self._model.crates_back[number] else {"already-done"}
        if self._model.crates_away() + 1 > CRATES:
            refusals.add("crates-short")

        if self._book(lambda pen: void_crates(pen, number, SLIP), refusals):
            self._model.crates_back[number] = 0

    @rule(grams=st.integers(1, 3))
    def write_film_off(self, grams: int) -> None:
        asked = LotChangeIn.model_validate({"written_off": grams, "reason": "soaked"})
        refusals = {"insufficient-stock"} if self._model.film_left() < grams else set()

        if made := self._book(lambda pen: change_lot(pen, "FILM-1", asked), refusals):
            self._model.film_off[made.id] = grams

    @precondition(lambda self: self._model.film_off)
    @rule(data=st.data())
    def void_a_write_off(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self._model.film_off)), "change")
        refusals = set() if self._model.film_off[number] else {"already-done"}

        if self._book(lambda pen: void_change(pen, "FILM-1", number, SLIP), refusals):
            self._model.film_off[number] = 0

    @rule()
    def void_the_film_in_bags(self) -> None:
        used = any(unit.film for unit in self._model.units.values() if not unit.voided)
        if used:  # else there would be none for what comes after
            self._book(
                lambda pen: void_lot(pen, "FILM-1", SLIP, may_release=True), {"has-dependants"}
            )

    @precondition(lambda self: len(self._model.colours) < MOST_READ)
    @rule(data=st.data())
    def read_a_colour(self, data: st.DataObject) -> None:
        code = self._pick(data, "roast")
        asked = ColourIn.model_validate({"values": [60]})

        if made := self._book(
            lambda pen: read_colour(pen, code, asked), self._model.naming(code, "roast")
        ):
            self._model.colours[code, made.number] = True

    @precondition(lambda self: self._model.colours)
    @rule(data=st.data())
    def void_a_colour(self, data: st.DataObject) -> None:
        code, number = data.draw(st.sampled_from(sorted(self._model.colours)), "colour")
        refusals = self._model.naming(code, "roast")
        if not self._model.colours[code, number]:
            refusals.add("already-done")

        if self._book(lambda pen: void_colour(pen, code, number, SLIP), refusals):
            self._model.colours[code, number] = False

    def _newest(self, table: type[SQLModel]) -> int:
        number = SQLModel.metadata.tables[str(table.__tablename__)].c.id
        with reading(self._engine) as session:
            return session.scalar(select(func.max(number))) or 0

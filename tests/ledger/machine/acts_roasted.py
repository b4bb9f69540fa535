"""Acts that turn green into bags: roast, taste, tip, blend, pour, pack."""

from collections import Counter
from collections.abc import Collection

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from app.packing.actions import blend, pack
from app.packing.schemas import BlendIn, PackIn
from app.quality.actions import cup
from app.quality.schemas import CuppingIn
from app.quality.tables import Verdict
from app.roasting.actions import roast
from app.roasting.schemas import CleanDownIn, RoastIn
from app.roasting.silos.cleaning import clean_place
from app.shared.mass import kg_from_grams
from tests.ledger.machine.book import MOSTLY, RARELY, Floor, listed
from tests.ledger.machine.things import BAG_G, MIXING, PLACES, Thing
from tests.makers import PASSING

TO = st.sampled_from([None, None, "SILO", "SILO", "TRAY", "A-01"])
DECIDED = {
    Verdict.RELEASE: "released",
    Verdict.BLEND_IN: "blend_in",
    Verdict.REWORK: "rework",
    Verdict.REJECT: "rejected",
    Verdict.SCRAP: "scrapped",
}
VERDICTS = st.sampled_from([Verdict.RELEASE, Verdict.BLEND_IN] * 3 + list(Verdict))


class RoastedActs(Floor):
    """What is done with coffee that is or becomes roasted."""

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
        to = data.draw(TO, "to")
        self._roast(draws, emptied, end_g, passes=passes, to=to, batch=self._some_batch(data))

    def _some_batch(self, data: st.DataObject) -> int | None:
        return data.draw(st.none() | st.sampled_from([None, *self._model.plans]), "batch")

    def _roast(
        self,
        draws: Counter[str],
        emptied: Collection[str],
        end_g: int,
        *,
        passes: bool = True,
        to: str | None = None,
        batch: int | None = None,
    ) -> None:
        asked_batch = batch
        batch = batch or self._model.batch_of(self._said.get("corrects"))
        refusals, booked = self._model.roasting(draws, emptied, end_g, batch)
        charged = [
            {"sack": code, "kg": kg_from_grams(grams), "emptied": code in emptied}
            for code, grams in draws.items()
        ]
        gate = PASSING | {"loss_range_pct": [0, 100], "profile_hit": passes}
        asked = RoastIn.model_validate(
            {"machine": "DRUM", "draws": charged, "end_kg": kg_from_grams(end_g), "to": to}
            | {"batch": asked_batch} | gate | self._said
        )  # fmt: skip

        if made := self._book(lambda pen: roast(pen, asked), refusals):
            carried = self._model.carried(self._said.get("corrects"))
            disposition, most = carried or ("passed" if passes else "set_aside", None)
            assert made.disposition == disposition
            roasted = Thing("roast", end_g, end_g, draws, booked, place=to, tasted=bool(carried))
            roasted.disposition, roasted.at_most_pct = disposition, most
            self._model.make(made.code, roasted)
            if batch is not None:
                self._model.plans[batch].roasts.append(made.code)

    @precondition(lambda self: self._model.of("roast"))
    @rule(data=st.data(), verdict=VERDICTS)
    def cup(self, data: st.DataObject, verdict: Verdict) -> None:
        code = data.draw(st.sampled_from(self._model.of("roast")), "roast")
        most = data.draw(st.sampled_from([20, 50, 90]), "at most")
        self._cup(code, verdict, most if verdict is Verdict.BLEND_IN else None)

    def _cup(self, code: str, verdict: Verdict, most: int | None = None) -> None:
        asked = CuppingIn.model_validate(
            {"verdict": verdict, "reason": "so it tasted", "at_most_pct": most}
        )
        disposition = DECIDED[verdict]
        refusals = self._model.cupping(code, disposition, most)

        if made := self._book(lambda pen: cup(pen, code, asked), refusals):
            roasted = self._model.units[code]
            roasted.tasted, roasted.disposition, roasted.at_most_pct = True, disposition, most
            if verdict is Verdict.SCRAP:
                assert made.scrapped_g == roasted.left_g
                roasted.left_g = 0

    @rule(place=st.sampled_from(PLACES))
    def clean(self, place: str) -> None:
        self._book(lambda pen: clean_place(pen, place, CleanDownIn()), self._model.cleaning(place))

    @precondition(lambda self: self._model.of("roast"))
    @rule(data=st.data())
    def blend(self, data: st.DataObject) -> None:
        self._blend(*self._sources(data), to=data.draw(TO, "to"))

    def _sources(self, data: st.DataObject) -> tuple[Counter[str], Counter[str]]:
        """Choose what to draw from: units, a place, or both."""
        how = data.draw(st.sampled_from(["units", "units", "place", "place", "both"]), "from")
        parts = Counter[str]() if how == "place" else self._parts(data, "roast", "blend")
        if how == "units":
            return parts, Counter()
        mixed = [place for place in MIXING if self._model.standing(place)] or ["SILO"]
        place = data.draw(st.sampled_from([*sorted(mixed) * 4, *PLACES]), "place")
        there_g = sum(self._model.standing(place).values())
        return parts, Counter({place: self._around(data, there_g)})

    def _blend(
        self, parts: Counter[str], pours: Counter[str] | None = None, *, to: str | None = None
    ) -> None:
        pours = pours or Counter()
        asked = BlendIn.model_validate({"parts": listed(parts, pours), "to": to} | self._said)
        refusals, drawn = self._model.blending(parts, pours)

        if made := self._book(lambda pen: blend(pen, asked), refusals):
            assert {part.unit: part.grams for part in made.parts} == drawn
            whole_g = drawn.total()
            self._model.make(made.code, Thing("blend", whole_g, whole_g, drawn, place=to))

    @precondition(lambda self: self._model.of("roast"))
    @rule(data=st.data(), more=RARELY)
    def pack(self, data: st.DataObject, more: bool) -> None:
        parts, pours = self._sources(data)
        whole_g = parts.total() + pours.total()
        self._pack(parts, pours, bags=max(1, whole_g // BAG_G + more))

    def _pack(self, parts: Counter[str], pours: Counter[str] | None = None, *, bags: int) -> None:
        pours = pours or Counter()
        film = bags if bags % 2 == 0 else 0
        materials = [{"lot": "FILM-1"}] if film else []
        asked = PackIn.model_validate(
            {"product": "BAG", "from": listed(parts, pours), "bags": bags, "materials": materials}
            | self._said
        )
        refusals, drawn = self._model.packing(parts, pours, bags, film)

        if made := self._book(lambda pen: pack(pen, asked), refusals):
            assert {part.unit: part.grams for part in made.parts} == drawn
            packed_g = bags * BAG_G
            self._model.make(made.code, Thing("pack", packed_g, packed_g, drawn, film=film))

"""What becomes of bags: they stand in cases, are kept for picks, leave and come back."""

from collections.abc import Collection, Mapping

from tests.ledger.machine.stock import Stock
from tests.ledger.machine.things import BAG_G


class Bags(Stock):
    """What the acts with bags come to."""

    def is_away(self, case: str) -> bool:
        return any(not self.units[code].voided for code in self.cases[case].sent)

    def cased(self, pack: str) -> int:
        """Count the bags of a pack that stand in cases here."""
        return sum(case.bags[pack] for code, case in self.cases.items() if not self.is_away(code))

    def kept(self, pack: str, mine: int | None = None) -> int:
        """Count the bags of a pack that are kept for picks other than mine."""
        return sum(
            pick.bags[pack]
            for number, pick in self.picks.items()
            if pick.ended is None and number != mine
        )

    def building(self, bags: Mapping[str, int]) -> set[str]:
        refusals = self.drawing(dict.fromkeys(bags, 0), "pack", "return")
        for code, count in bags.items():
            if self.is_held(code):
                refusals.add("on-hold")
            if count > max(self.units[code].left_g // BAG_G - self.cased(code), 0):
                refusals.add("not-free")
        return refusals

    def opening(self, case: str) -> set[str]:
        """Predict the refusals of taking a case apart or sending it."""
        closed = self.is_away(case) or not self.cases[case].bags
        return {"case-state"} if closed else set()

    def picking(self, bags: Mapping[str, int]) -> set[str]:
        refusals = self.drawing(
            {code: count * BAG_G for code, count in bags.items()}, "pack", "return"
        )
        for code, count in bags.items():
            left = self.units[code].left_g // BAG_G
            if not self.units[code].left_g:
                refusals.add("invalid")
            if self.is_held(code):
                refusals.add("on-hold")
            if left >= count > left - self.kept(code):
                refusals.add("not-free")
        return refusals

    def ending_pick(self, number: int, corrects: str | None = None) -> set[str]:
        return {"already-done"} if self.picks[number].ended not in {None, corrects} else set()

    def sending(
        self,
        loose: Mapping[str, int],
        whole: Mapping[str, int],
        cases: Collection[str],
        pick: int | None,
    ) -> set[str]:
        """Predict the refusals of sending loose bags and cases, together the whole."""
        refusals = self.drawing(
            {code: count * BAG_G for code, count in whole.items()}, "pack", "return"
        )
        for case in cases:
            refusals |= self.opening(case)
        for code, count in whole.items():
            left, kept = self.units[code].left_g // BAG_G, self.kept(code, pick)
            if count <= left and (
                (loose.get(code) and loose[code] > left - self.cased(code))
                or (kept and count > left - kept)
            ):
                refusals.add("not-free")
        return refusals

    def returning(self, dispatch: str, bags: Mapping[str, int]) -> set[str]:
        sent = self.units[dispatch]
        refusals = set()
        if sent.kind != "dispatch":
            refusals.add("wrong-kind")
        if sent.voided:
            refusals.add("voided")
        for pack, count in bags.items():
            unit = self.units[pack]
            if unit.kind not in {"pack", "return"} or pack not in sent.bags:
                refusals.add("wrong-kind")
            elif count > sent.bags[pack]:
                refusals.add("insufficient-stock")
            if unit.voided:
                refusals.add("voided")
        return refusals

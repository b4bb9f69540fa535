"""A roastery's recorded fortnight, booked act by act as its events say.

The events are the GS1 EPCIS 2.0 document `roastery-events.jsonld` beside this checkout; masses,
codes, times and bags are read from it. Where an event observes a mass, the book must already
say the same.
"""

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

from app.shared.answers import read_json
from tests.api import Api
from tests.makers import PASSING

LOT = "GL24017"
SUPPLIER = "Cooperative of the Long Ridge"
OTHER_SUPPLIER = "Finca El Roble"
CUSTOMER = "Café Nord"
ROAST = "RB20261105-03"
OTHER_ROAST = "RB20261104-01"
BLEND = "BL26110501"
BAGS = "26110501A"
SHIPMENT = "DA-5512"
CAGE = "QA-CAGE"


def code_in(address: str) -> str:
    """Read the code at the end of a GS1 Digital Link or of a business transaction."""
    return address.rsplit("/", 1)[-1].rsplit(":", 1)[-1]


class RecordedWeek:
    """The events, and an open book to enter them in."""

    def __init__(self, api: Api, shared: Path) -> None:
        self.api = api
        file = shared / "data" / "standards" / "own" / "roastery-events.jsonld"
        listed = read_json(file.read_bytes())["epcisBody"]["eventList"]
        self.events = {
            event["eventID"][-3:]: event for event in listed if "errorDeclaration" not in event
        }
        self.mistaken_roast = ""
        self.returned = ""

    def play(self, until: str = "016") -> None:
        """Enter the events in their order, up to and including one."""
        self._furnish()
        for number, enter in self._acts():
            enter(self.events[number])
            if number == until:
                return

    def _acts(self) -> list[tuple[str, Callable[[Any], None]]]:
        # 002 measures, 007 closes a case, 104 corrects 004. What packs consume beside coffee
        # (liner lot PK7781) is left out: packaging inputs are not in the book yet.
        return [
            ("101", self._receive), ("015", self._take_out), ("003", self._move),
            ("004", self._roast_by_mistake), ("104", self._correct_roast),
            ("005", self._blend), ("006", self._pack), ("008", self._ship),
            ("009", self._take_back), ("010", self._hold), ("011", self._release),
            ("012", self._recall), ("013", self._count), ("014", self._take_out),
            ("016", self._destroy),
        ]  # fmt: skip

    def kilograms(self, number: str, field: str = "quantityList") -> dict[str, Decimal]:
        """Name the kilograms of an event by code."""
        return _masses(self.events[number][field])

    def bags(self, number: str) -> int:
        """Name the bags of the event."""
        event = self.events[number]
        listed = event.get("quantityList") or event.get("childQuantityList")
        return int((listed or event["outputQuantityList"])[0]["quantity"])

    def left(self, code: str) -> Decimal:
        """What the book says is left of a unit."""
        left: Decimal = self.api.get(f"/units/{code}")["left_kg"]
        return left

    def _furnish(self) -> None:
        for name in (SUPPLIER, OTHER_SUPPLIER):
            self.api.post("/suppliers", {"name": name})
        self.api.post("/customers", {"name": CUSTOMER, "contact": "Ida, +49 000 1234"})
        for code in ("R03-B2", "R07-A1", CAGE):
            self.api.post("/locations", {"code": code, "kind": "rack"})
        self.api.post("/machines", {"code": "DRUM-60", "kind": "roaster", "capacity_kg": 60})
        self.api.post("/products", {"sku": "HOUSE-250", "name": "House", "nominal_g": 250})

    def _receive(self, event: Any) -> None:
        sacks = [
            {"code": code, "net_kg": kg, "location": code_in(event["bizLocation"]["id"])}
            for code, kg in _masses(event["quantityList"]).items()
        ]
        origin = event["ilmd"]["cbvmda:countryOfOrigin"]
        lot = {"code": event["ilmd"]["cbvmda:lotNumber"], "name": "Guji", "origin": origin}
        self.api.post("/deliveries", {
            "supplier": SUPPLIER, "reference": "BL-77", "received_at": event["eventTime"],
            "lots": [lot | {"sacks": sacks}],
        })  # fmt: skip
        self._roast_the_other(event["eventTime"])

    def _roast_the_other(self, received_at: str) -> None:
        """Invent what the events leave out: the sacks and the roast the blend's rest came from."""
        sacks = [{"code": f"GL24018-S0{number}", "net_kg": 30} for number in (1, 2)]
        lot = {"code": "GL24018", "name": "Huila", "origin": "CO", "sacks": sacks}
        self.api.post("/deliveries", {
            "supplier": OTHER_SUPPLIER, "received_at": received_at, "lots": [lot],
        })  # fmt: skip
        draws = [{"sack": sack["code"], "kg": 15} for sack in sacks]
        self._roast("2026-11-04T07:00:00Z", draws, Decimal("25.4"), OTHER_ROAST)

    def _roast(self, at: str, draws: list[Any], end_kg: Decimal, code: str | None) -> Any:
        body = {"machine": "DRUM-60", "roasted_at": at, "draws": draws, "end_kg": end_kg}
        named = {"code": code} if code else {}
        return self.api.post("/roasts", body | named | PASSING)

    def _roast_by_mistake(self, event: Any) -> None:
        # A code is given once in the book, so the mistaken record gets one the book issues.
        self.mistaken_roast = self._roast_of(event, None)["code"]

    def _correct_roast(self, event: Any) -> None:
        reason = {"reason": "incorrect data"}
        self.api.post(f"/units/{self.mistaken_roast}/void", reason)
        self._roast_of(event, ROAST)

    def _roast_of(self, event: Any, code: str | None) -> Any:
        draws = [
            {"sack": sack, "kg": kg} for sack, kg in _masses(event["inputQuantityList"]).items()
        ]
        end_kg = _masses(event["outputQuantityList"])[ROAST]
        roast = self._roast(event["eventTime"], draws, end_kg, code)
        assert roast["charge_kg"] - roast["end_kg"] == event["ilmd"]["rst:shrinkKg"]
        return roast

    def _blend(self, event: Any) -> None:
        parts = _masses(event["inputQuantityList"])
        made = self.api.post("/blends", {
            "code": BLEND, "blended_at": event["eventTime"],
            "parts": [{"unit": unit, "kg": kg} for unit, kg in parts.items()],
        })  # fmt: skip
        assert made["kg"] == _masses(event["outputQuantityList"])[BLEND]

    def _pack(self, event: Any) -> None:
        self.api.post("/packs", {
            "code": BAGS, "product": "HOUSE-250", "packed_at": event["eventTime"],
            "from": [{"unit": BLEND, "kg": _masses(event["inputQuantityList"])[BLEND]}],
            "bags": self.bags("006"), "best_before": event["ilmd"]["rst:bestBefore"],
        })  # fmt: skip

    def _ship(self, event: Any) -> None:
        self.api.post("/dispatches", {
            "code": SHIPMENT, "customer": CUSTOMER, "dispatched_at": event["eventTime"],
            "lines": [{"pack": BAGS, "bags": self.bags("007")}],
        })  # fmt: skip

    def _take_back(self, event: Any) -> None:
        (note,) = event["bizTransactionList"]
        back = self.api.post("/returns", {
            "dispatch": SHIPMENT, "reason": code_in(note["bizTransaction"]),
            "returned_at": event["eventTime"],
            "lines": [{"pack": BAGS, "bags": self.bags("009")}],
        })  # fmt: skip
        self.returned = back["code"]
        self.api.post("/moves", {"sacks": [self.returned], "to": CAGE})

    def _move(self, event: Any) -> None:
        self._observe(event)
        to, at = code_in(event["bizLocation"]["id"]), event["eventTime"]
        sacks = list(_masses(event["quantityList"]))
        self.api.post("/moves", {"sacks": sacks, "to": to, "moved_at": at})

    def _hold(self, event: Any) -> None:
        self._move(event)
        sacks = list(_masses(event["quantityList"]))
        self.api.post("/holds", {"units": sacks, "reason": event["rst:reason"]})

    def _release(self, event: Any) -> None:
        self._move(event)
        (sack,) = _masses(event["quantityList"])
        (held,) = self.api.get(f"/holds?unit={sack}&open=true")["items"]
        self.api.post(f"/holds/{held['id']}/release", {"reason": "LAB-301"})

    def _recall(self, _: Any) -> None:
        self.api.post("/holds", {"units": [BAGS], "reason": "recalled"})

    def _count(self, event: Any) -> None:
        for code, counted in _masses(event["quantityList"]).items():
            assert self.left(code) == event["rst:bookKg"]
            assert counted - self.left(code) == event["rst:varianceKg"]

    def _take_out(self, event: Any) -> None:
        reason = "sample" if event["bizStep"] == "sampling" else "count"
        for code, kg in _masses(event["quantityList"]).items():
            self._adjust(code, -kg, reason, event["eventTime"])

    def _destroy(self, event: Any) -> None:
        for code in (BAGS, self.returned):
            self._adjust(code, -self.left(code), "destroyed", event["eventTime"])

    def _adjust(self, code: str, kg: Decimal, reason: str, at: str) -> None:
        body = {"unit": code, "kg": kg, "reason": reason, "happened_at": at}
        self.api.post("/adjustments", body)

    def _observe(self, event: Any) -> None:
        for code, kg in _masses(event["quantityList"]).items():
            assert self.left(code) == kg


def _masses(listed: list[Any]) -> dict[str, Decimal]:
    return {
        code_in(each["epcClass"]): Decimal(each["quantity"])
        for each in listed
        if each.get("uom") == "KGM"
    }

"""A recall that is being worked off."""

from tests.api import Api, kg
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes

ODD = "=HYPERLINK(A1)"
"""A customer whose name a spreadsheet might run."""


def work_off(api: Api) -> None:
    """Recall two sacks: bags here, at customers, back, unaccounted.

    What ran next on the drum is possible contact; a blend of the scope was voided afterwards.
    """
    furnish(api)
    api.post("/customers", {"name": ODD})
    one, two = sack_codes(receive(api, 60, 60, lot="LOT-A"))
    (other,) = sack_codes(receive(api, 60, lot="LOT-B"))
    at = "2026-03-03T0{}:00:00Z"
    roast(api, {one: 20, two: 10}, kg("25.5"), code="RB-1", roasted_at=at.format(6))
    roast(api, {other: 10}, kg("8.5"), code="RB-2", roasted_at=at.format(7))
    blend(api, {"RB-1": 25}, code="BL-1")
    blend(api, {"RB-1": kg("0.5")}, code="BL-2")
    pack(api, {"BL-1": kg("24.75")}, bags=99, code="PK-1")
    dispatch(api, {"PK-1": 12}, code="DS-1")
    dispatch(api, {"PK-1": 3}, code="DS-2", customer=ODD)
    body = {"code": "RC-1", "kind": "recall", "hazard": "mould", "start": {"units": ["LOT-A"]}}
    api.post("/recalls", body | {"trigger": {"kind": "complaint", "text": "@musty"}})
    api.post("/recalls/RC-1/stop", {"reason": "mould in a bag"})
    api.post("/recalls/RC-1/notices", {"customer": "Café Nord", "how": "phone"})
    back = {"dispatch": "DS-1", "lines": [{"pack": "PK-1", "bags": 4}], "reason": "asked back"}
    api.post("/returns", back | {"code": "RT-1"})
    api.post("/recalls/RC-1/reports", {"customer": "Café Nord", "held_bags": 3, "sold_bags": 2})
    api.post("/units/BL-2/void", {"reason": "booked twice"})
    api.post("/adjustments", {"unit": "PK-1", "kg": kg("-0.25"), "reason": "sample"})

"""Lots of packing material at their page: counted, written off, stopped, released, taken back."""

from collections.abc import Callable

from tests.api import Api
from tests.makers import furnish, pack, receive, roast, sack_codes
from tests.web.conftest import Visitor, words


def test_a_lot_of_packing_material_is_counted_written_off_stopped_and_taken_back(
    api: Api,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    made = roast(api, {sack_codes(receive(api, 60))[0]: 60}, 50)["code"]
    api.post("/materials", {"code": "FILM", "name": "Film", "kind": "film", "unit": "metre"})
    for code in ("ROLL-1", "ROLL-2"):
        api.post("/material-lots", {"material": "FILM", "code": code, "quantity": 500})
    used = [{"lot": "ROLL-1", "used": 20, "spoiled": 2}]
    packed = pack(api, {made: 10}, 40, materials=used)["code"]
    sam, quill = visitor_as("warehouse"), visitor_as("quality")

    assert 'href="/material/ROLL-1"' in sam.get("/material").text
    assert 'href="/material/ROLL-1"' in sam.get(f"/packed/{packed}").text
    assert sam.get("/find?text=roll-1").headers["location"] == "/material/ROLL-1"
    nothing = sam.fill("/material/ROLL-1/count", reason="end of the month")
    sam.fill("/material/ROLL-1/count", counted="470,5", reason="end of the month")
    much = sam.fill("/material/ROLL-1/write-off", written_off="1000", reason="wet")
    off = sam.fill("/material/roll-1/write-off", written_off="70,5", reason="wet")
    stopped = sam.fill("/material/ROLL-1/hold", reason="prints off centre")
    told = words(sam.get("/material/ROLL-1"))
    page = quill.get("/material/ROLL-1")

    assert nothing.status_code == 422
    assert "either what was counted or what is written off" in words(nothing)
    assert much.status_code == 409
    assert 'value="1000"' in much.text
    assert (off.headers["location"], stopped.status_code) == ("/material/ROLL-1", 303)
    assert "Left 400 metres Came 500 Used 20 Spoiled 2 Counted and written off -78" in told
    assert "is stopped: no pack uses it until quality releases it." in told
    assert "/material-holds/1/release" not in sam.get("/material/ROLL-1").text
    assert 'href="/material-holds/1/release"' in page.text
    assert sam.get("/material-holds/1/release").status_code == 403
    assert "ROLL-1 prints off centre" in words(quill.get("/holds"))
    statements()
    quill.get("/material/ROLL-1")
    assert statements() <= 7
    refused = api.send("POST", "/packs", {"product": "HOUSE-250", "bags": 4, "materials": used,
                                          "from": [{"unit": made, "kg": 1}]})  # fmt: skip
    assert refused.status_code == 409

    let_go = quill.fill("/material-holds/1/release", reason="looked at: print alone")
    back = sam.fill("/void/material-change/2?of=ROLL-1", reason="the other roll")
    kept = sam.fill("/material/ROLL-1/void", reason="never came")
    gone = sam.fill("/material/ROLL-2/void", reason="never came")
    assert {let_go.headers["location"], back.headers["location"]} == {"/material/ROLL-1"}
    assert "quality released it: looked at: print alone" in words(sam.get("/material/ROLL-1"))
    assert str(api.get("/material-lots/ROLL-1")["left"]) == "470.5"
    assert kept.status_code == 409
    assert packed in words(kept)
    assert gone.status_code == 303
    voided = sam.get("/material/ROLL-2")
    assert "Voided: it counts for nothing any more. never came" in words(voided)
    assert "/material/ROLL-2/count" not in voided.text
    book_is_sound()


def test_a_lot_of_packing_material_is_taken_in_anew_in_the_place_of_a_wrong_one(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    api.post("/materials", {"code": "BAG", "name": "Bag", "kind": "bag", "unit": "piece"})
    api.post("/material-lots", {"material": "BAG", "code": "LOT-1", "quantity": 500})
    api.post("/material-lots/LOT-1/holds", {"reason": "seal looks weak"})
    sam, buyer = visitor_as("warehouse"), visitor_as("buyer")

    assert 'href="/material?corrects=LOT-1&amp;material=BAG"' in sam.get("/material/LOT-1").text
    barred = sam.fill("/material/LOT-1/void", reason="never came")
    anew = sam.fill("/material?corrects=LOT-1&material=BAG", material="BAG", code="LOT-1B",
                    quantity="5000", correction_reason="a nought was missing")  # fmt: skip

    assert barred.status_code == 403
    assert anew.status_code == 303
    assert "a nought was missing LOT-1B" in words(sam.get("/material/LOT-1"))
    assert "On hold" in words(buyer.get("/material/LOT-1B"))
    assert "Stop it" not in words(buyer.get("/material/LOT-1B"))
    assert buyer.get("/material/LOT-1B/count").status_code == 403
    assert sam.get("/material/LOT-1B/eat").status_code == 404
    assert sam.get("/material/LOT-404").status_code == 404

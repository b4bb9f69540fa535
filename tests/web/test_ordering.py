"""What is planned and ordered at the pages: batches, orders, standing orders; and called off."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest

from app.shared.times import now
from app.web import ordering
from tests.api import Api
from tests.makers import furnish, pack, receive, roast, sack_codes
from tests.web.conftest import Visitor, filled_fields, words


def test_batches_are_planned_and_called_off(
    api: Api,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    receive(api, 60, 60, lot="GL-7")
    api.post("/styles", {"name": "House", "machine": "DRUM-15", "batch_kg": 12,
                         "green": [{"lots": ["GL-7"], "share_pct": 100}]})  # fmt: skip
    rita = visitor_as("roaster")
    on = str(now().date() + timedelta(days=2))

    api.post("/styles", {"name": "New"})
    lacks = rita.fill("/batches", style="New", on=on, count="1")
    planned = rita.fill("/batches", style="House", on=on, count="2")
    own = rita.fill("/batches", style="House", on=on, count="1", machine="DRUM-75",
                    green__0__lot="gl-7", green__0__kg="30,5")  # fmt: skip
    much = rita.fill("/batches", style="House", on=on, count="9", green__0__lot="GL-7",
                     green__0__kg="14")  # fmt: skip
    statements()
    listed, of_listed = rita.get("/batches"), statements()
    off = rita.fill("/cancel/batch/1", reason="the drum is being mended")
    said = words(rita.get(off.headers["location"]))
    twice = rita.fill("/cancel/batch/1", reason="again")

    assert "style New names no charge and no drum" in words(lacks)
    assert '<details class="more" open>' in lacks.text
    assert '<details class="more">' in listed.text
    assert 'type="date" min="1900-01-01" max="8999-12-31"' in listed.text
    assert "Batch 1 is cancelled." in said
    assert planned.headers["location"] == f"/batches?on={on}"
    assert own.status_code == 303
    assert much.status_code == 409
    assert of_listed <= 6
    assert 'href="/cancel/batch/2"' in listed.text
    assert off.headers["location"] == "/batches"
    assert twice.status_code == 409
    states = [each["state"] for each in api.get("/batches")["items"]]
    assert states == ["cancelled", "planned", "planned"]
    assert str(api.get("/lots/GL-7")["available_kg"]) == "77.5"
    assert rita.get("/cancel/batch/none").status_code == 404
    assert rita.get("/cancel/roast/1").status_code == 404
    assert visitor_as("warehouse").get("/cancel/batch/2").status_code == 403
    book_is_sound()


def test_an_order_is_entered_changed_sent_in_part_and_called_off(
    api: Api,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    made = roast(api, {sack_codes(receive(api, 60))[0]: 60}, 50)["code"]
    packed = pack(api, {made: 10}, 40)["code"]
    sam, rita = visitor_as("warehouse"), visitor_as("roaster")
    today = str(now().date())

    bare = sam.fill("/orders/new", customer="Café Nord", due_on=today)
    entered = sam.fill(
        "/orders/new", code="o-1", customer="Café Nord", due_on=today, reference="PO 8",
        lines__0__product="HOUSE-250", lines__0__bags="30", lines__1__product="", lines__1__bags="",
    )  # fmt: skip
    assert bare.status_code == 422
    assert entered.headers["location"] == "/orders/O-1"
    assert sam.get("/find?text=o-1").headers["location"] == "/orders/O-1"
    statements()
    page, of_page = sam.get("/orders/O-1"), statements()
    assert of_page <= 7
    form = filled_fields(page.text)
    same = sam.post("/orders/O-1", form).headers["location"]
    assert words(sam.get(same)).startswith("Nothing was changed.")
    more = {"lines.0.bags": "35", "lines.1.product": "HOUSE-2000", "lines.1.bags": "2"}
    changed = sam.post("/orders/O-1", form | more)
    late = sam.post("/orders/O-1", form | {"_key": "late", "reference": "PO 9"})
    blank = {"lines.0.product": "", "lines.0.bags": "", "_key": "none", "_version": "2"}
    nothing = sam.post("/orders/O-1", form | blank)

    assert changed.status_code == 303
    lines = api.get("/orders/O-1")["lines"]
    assert [(line["product"], line["bags"]) for line in lines] == [
        ("HOUSE-2000", 2),
        ("HOUSE-250", 35),
    ]
    assert api.get("/orders/O-1")["reference"] == "PO 8"
    assert late.status_code == 412
    assert "Open it as it is now" in words(late)
    assert nothing.status_code == 422

    sent = {"customer": "Café Nord", "order": "O-1", "lines": [{"pack": packed, "bags": 20}]}
    api.post("/dispatches", sent)
    few = sam.fill("/orders/O-1", _version="2", lines__0__product="HOUSE-250", lines__0__bags="10")
    wanted = [{"product": "HOUSE-250", "bags": 5}]
    kept = api.post("/picks", {"customer": "Café Nord", "lines": wanted})["id"]
    assert few.status_code == 422
    assert "20 bags of HOUSE-250 went out already" in words(few)
    assert 'href="/cancel/pick/1"' in sam.get("/sending").text
    assert sam.fill(f"/cancel/pick/{kept}", reason="not today").headers["location"] == "/sending"
    assert "Kept for picks" not in words(sam.get("/sending"))
    assert "HOUSE-250: 15 of 35 to go" in words(sam.get("/orders"))
    assert "/cancel/order/O-1" not in rita.get("/orders/O-1").text
    assert rita.get("/orders/new").status_code == 403
    off = sam.fill("/cancel/order/O-1", reason="the café closes")
    ended = sam.post("/orders/O-1", form | {"_version": "2", "_key": "e", "reference": "PO 10"})
    assert off.headers["location"] == "/orders"
    told = "Order O-1 is cancelled: the café closes." in words(ended)
    assert (ended.status_code, told, 'value="PO 10"' in ended.text) == (409, True, True)
    assert "State cancelled the café closes" in words(sam.get("/orders/o-1"))
    assert "O-1 Café Nord" in words(sam.get("/orders?state=cancelled"))
    assert "None." in words(sam.get("/orders"))
    book_is_sound()


def test_a_standing_order_is_entered_called_off_paused_and_changed(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    sam = visitor_as("warehouse")
    today = now().date()
    first = today + timedelta(days=7 - today.weekday())  # the Monday to come
    later = first + timedelta(days=14)

    entered = sam.fill(
        "/standing-orders/new", code="so-1", customer="Café Nord", starts_on=str(first),
        every_weeks="1", weekdays=["monday", "thursday"], lines__0__product="HOUSE-250",
        lines__0__bags="12",
    )  # fmt: skip
    assert entered.headers["location"] == "/standing-orders/SO-1"
    statements()
    listed, of_listed = words(sam.get("/standing-orders")), statements()
    page, of_page = sam.get("/standing-orders/SO-1"), statements()
    assert max(of_listed, of_page) <= 8
    assert "SO-1 Café Nord Monday, Thursday; every week. 12 HOUSE-250 no order yet for" in listed
    asked = sam.fill_at(
        "/standing-orders/SO-1", "/standing-orders/SO-1/orders", on=str(first), _key="first"
    )
    again = sam.fill_at(
        "/standing-orders/SO-1", "/standing-orders/SO-1/orders", on=str(first), _key="again"
    )
    assert asked.status_code == 303
    assert again.status_code == 409
    [order] = api.get("/orders")["items"]
    assert (order["due_on"], order["standing_order"]) == (str(first), "SO-1")
    assert f'href="/orders/{order["code"]}"' in sam.get("/standing-orders/SO-1").text

    form = filled_fields(page.text) | {"weekdays": ["monday", "thursday"], "on": ""}
    form.pop("on")
    paused = sam.post("/standing-orders/SO-1", form | {"paused": str(later), "_key": "p"})
    assert paused.status_code == 303
    card = api.get("/standing-orders/SO-1")
    assert card["paused"] == [str(later)]
    assert (card["weekdays"], card["version"]) == (["monday", "thursday"], 2)
    now_form = form | {"_version": "2", "_key": "q", "paused": ""}
    unpaused = sam.post("/standing-orders/SO-1", now_form | {"weekdays": ["friday"]})
    assert unpaused.status_code == 303
    card = api.get("/standing-orders/SO-1")
    assert (card["paused"], card["weekdays"]) == ([], ["friday"])
    never = {name: said for name, said in now_form.items() if name != "weekdays"}
    refused = sam.post("/standing-orders/SO-1", never | {"_version": "3", "_key": "r"})
    assert refused.status_code == 422
    assert "Tick at least one." in words(refused)
    assert visitor_as("quality").get("/standing-orders/new").status_code == 403


def test_of_many_orders_the_earliest_due_are_listed_and_of_those_that_ended_the_latest(
    api: Api, visitor_as: Callable[..., Visitor], monkeypatch: pytest.MonkeyPatch
) -> None:
    furnish(api)
    for days in (9, 1, 4):
        api.post("/orders", {
            "code": f"O-{days}", "customer": "Café Nord",
            "due_on": str(now().date() + timedelta(days=days)),
            "lines": [{"product": "HOUSE-250", "bags": 5}],
        })  # fmt: skip
    sam = visitor_as("warehouse")
    monkeypatch.setattr(ordering, "_MOST", 2)

    waiting = sam.get("/orders").text
    for code in ("O-1", "O-4", "O-9"):
        api.post(f"/orders/{code}/cancel", {"reason": "shut for the winter"})
    ended = sam.get("/orders?state=cancelled").text

    assert re.findall(r'href="/orders/(O-\d)"', waiting) == ["O-1", "O-4"]
    assert re.findall(r'href="/orders/(O-\d)"', ended) == ["O-9", "O-4"]
    assert "and more" in waiting

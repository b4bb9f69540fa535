"""The senders' pages: what is free, the oldest date first, scanning out, papers, returns, sales."""

from collections.abc import Callable
from datetime import timedelta

import pytest

from app.shared.times import now
from tests.api import Api
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes
from tests.web.conftest import Visitor, hidden_fields, words


@pytest.fixture
def packs(api: Api) -> list[str]:
    """Three packs of HOUSE-250: an older one of 20 bags, one of 40, one of 40 on hold."""
    furnish(api)
    made = roast(api, {sack_codes(receive(api, 60))[0]: 60}, 50)["code"]
    today = now().date()
    codes = [
        pack(api, {made: weight}, bags, best_before=str(today + timedelta(days=days)))["code"]
        for weight, bags, days in ((5, 20, 100), (10, 40, 200), (10, 40, 300))
    ]
    api.post("/holds", {"units": [codes[2]], "reason": "seal looks weak"})
    api.post("/orders", {"code": "O-1", "customer": "Café Nord", "due_on": str(today),
                         "lines": [{"product": "HOUSE-250", "bags": 30}]})  # fmt: skip
    api.post("/crate-kinds", {"name": "Blue crate"})
    api.post("/crates/counts", {"kind": "Blue crate", "counted": 20, "reason": "all of them"})
    return codes


def test_an_order_is_picked_by_the_oldest_date_looked_at_and_sent_with_its_papers(
    api: Api,
    packs: list[str],
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    sam = visitor_as("warehouse")
    statements()
    orders, of_orders = words(sam.get("/sending")), statements()
    assert "O-1 Café Nord" in orders
    assert "HOUSE-250: 30 wanted, 60 free" in orders
    assert of_orders <= 14
    assert "/send?order=O-1" in sam.get("/").text
    page = sam.get("/send?order=O-1")
    told = words(page)
    assert told.index(f"L {packs[0]}") < told.index(f"L {packs[1]}")
    assert f"{packs[2]} HOUSE-250, 40 bags: on hold" in told

    kept = sam.post("/send/keep", hidden_fields(page.text) | {"order": "O-1"})
    assert kept.headers["location"] == "/send?pick=1"
    ready = sam.get("/send?pick=1")
    form = {
        **hidden_fields(ready.text), "customer": "Café Nord", "order": "O-1",
        "lines.0.pack": packs[0], "lines.0.bags": "20", "lines.1.pack": packs[1],
        "lines.1.bags": "12", "crates.0.kind": "Blue crate", "crates.0.count": "2",
    }  # fmt: skip
    looked = sam.post("/send", form | {"_ask": "look"})
    assert "Not booked yet: this would leave 20 bags HOUSE-250" in words(looked)
    assert "! order O-1" in words(looked)
    held = sam.post("/send", form | {"lines.1.pack": packs[2], "_ask": "look"})
    assert held.status_code == 409
    assert f"On hold: {packs[2]}" in words(held)
    assert api.get("/dispatches")["items"] == []
    sent = sam.post("/send", form)
    code = sent.headers["location"].rpartition("/")[2]
    assert "Blue crate" in words(sam.get(f"/sent/{code}"))
    note = sam.get(f"/sent/{code}/note.pdf")
    assert note.headers["content-type"] == "application/pdf"
    assert note.content.startswith(b"%PDF")
    assert api.get(f"/dispatches/{code}")["pick"] == 1
    assert "No order is due" in words(sam.get("/sending"))
    short = {"product": "HOUSE-250", "bags": 50}
    api.post("/orders", {"customer": "Café Nord", "due_on": str(now().date()), "lines": [short]})
    # Of 60 that were free 32 are gone.
    assert "/pack?product=HOUSE-250&amp;bags=22" in sam.get("/sending").text
    assert visitor_as("roaster").get("/send").status_code == 403
    book_is_sound()


def test_a_case_leaves_with_all_that_is_in_it_by_its_code_alone(
    api: Api, packs: list[str], visitor_as: Callable[..., Visitor]
) -> None:
    case = api.post("/cases", {"contents": [{"pack": packs[0], "bags": 12}]})["code"]
    sam = visitor_as("warehouse")

    sent = sam.fill(
        "/send", customer="Café Nord", lines__0__pack=case, lines__0__bags="",
        lines__1__pack=packs[0], lines__1__bags="3",
    )  # fmt: skip
    short = sam.fill("/send", customer="Café Nord", lines__0__pack=packs[0], lines__0__bags="9")

    code = sent.headers["location"].rpartition("/")[2]
    made = api.get(f"/dispatches/{code}")
    assert (made["cases"], made["lines"][0]["bags"]) == ([case], 15)
    label = sam.get(f"/case/{case}/label.pdf")
    assert label.content.startswith(b"%PDF")
    assert short.status_code == 409
    assert 'value="9"' in short.text


def test_bags_and_crates_come_back_and_sales_are_booked_by_day_and_lot(
    api: Api,
    packs: list[str],
    visitor_as: Callable[..., Visitor],
    book_is_sound: Callable[[], None],
) -> None:
    api.post("/customers", {"name": "Our counter", "kind": "consumers"})
    sent = dispatch(api, {packs[0]: 10, packs[1]: 5})["code"]
    sam = visitor_as("warehouse")

    page = sam.get(f"/returns?dispatch={sent.lower()}")
    assert "10 are out" in words(page)
    fields = hidden_fields(page.text)
    none = sam.post("/returns", fields | {"reason": "torn", "lines.0.bags": ""})
    back = sam.post("/returns", fields | {
        "reason": "torn", "lines.0.bags": "2", "lines.1.bags": "", "_key": "another",
    })  # fmt: skip
    assert none.status_code == 422
    assert "2 bags came back as" in words(sam.get(back.headers["location"]))
    (returned,) = api.get("/returns")["items"]
    assert (returned["pack"], returned["bags"], returned["held"]) == (packs[0], 2, True)

    today = now().date()
    sold = sam.fill("/sales", shop="Our counter", sold_on=str(today),
                    lines__0__pack=packs[1], lines__0__bags="3")  # fmt: skip
    assert "3 bags sold at Our counter are booked." in words(sam.get(sold.headers["location"]))
    (sale,) = api.get(f"/sales?pack={packs[1]}")["items"]
    assert (sale["sold_on"], sale["lines"][0]["bags"]) == (str(today), 3)

    out = sam.fill("/crates", act="out", customer="Café Nord", crates__0__kind="Blue crate",
                   crates__0__count="4")  # fmt: skip
    assert "Café Nord now has: 4 Blue crate." in words(sam.get(out.headers["location"]))
    assert "16 here of 20" in words(sam.get("/crates"))
    book_is_sound()

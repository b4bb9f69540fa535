"""The pages of buyers: what they show is what the API answers, and forms book what it takes."""

import re
from collections.abc import Callable
from decimal import Decimal
from html import unescape

import httpx
import pytest

from tests.api import Api, kg
from tests.buying.house import buy_and_roast
from tests.buying.test_report import words_of
from tests.cover.conftest import ago, arrive, only
from tests.web.conftest import Visitor, filled_fields, hidden_fields, words


@pytest.fixture
def house(api: Api) -> Api:
    buy_and_roast(api)
    return api


def test_the_board_leads_to_the_stock_to_come_and_to_what_to_order(
    house: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    bea = visitor_as("buyer")
    base = only(house.get("/cover/orders"), "Base")

    statements()
    board, of_board = bea.get("/cover"), statements()
    orders, of_orders = bea.get("/cover/orders"), statements()
    planning, of_planning = bea.get("/planning"), statements()
    projected = bea.get("/cover/projection?key=Base")
    start = words(bea.get("/"))

    assert "Bright 14 28 " in words(board)
    assert "120 kg 300 kg 300 kg" in words(board)
    assert "now 660 kg 0 kg 600 kg" in words(board)
    assert 'href="/cover/projection?by=component&amp;key=Base"' in board.text
    assert f"Order now: Base {base['units']} sacks, {base['suggested_kg']:.0f} kg" in words(orders)
    assert "Bought last of Finca El Roble" in words(orders)
    assert "1,260 kg are available or on order, and by the forecast" in words(orders)
    assert base["why"].startswith("1260.0 kg are available or on order, and by the forecast")
    due = [each["key"] for each in house.get("/cover/orders")["items"] if each["due"]]
    assert words(bea.get("/cover/orders?wanted=due")).count("Order now") == len(due) > 0
    assert "40 by the planning card" in words(planning)
    assert "PC-SEA Finca El Roble, 600" in words(projected)
    assert words(projected).count(" kg \N{EN DASH} ") == 13, "a row a week"
    assert f"{len(due)} component" in start
    assert f"Base order {base['suggested_kg']:.0f} kg" in start
    for by in ("lot", "origin", "product", "site"):
        assert bea.get(f"/cover?by={by}").status_code == 200
    assert bea.get("/cover/orders?by=product").status_code == 200
    for number in range(4):
        arrive(house, f"GL-N{number}", 60, on=ago(20), origin="KE")
        house.post("/styles", {"name": f"S{number}", "green": [
            {"share_pct": 100, "lots": [f"GL-N{number}"]},
        ]})  # fmt: skip
    statements()
    counted = [
        (bea.get(path), statements())[1] for path in ("/cover", "/cover/orders", "/planning")
    ]
    assert counted == [of_board, of_orders, of_planning]
    assert max(counted) <= 50


def test_a_contract_to_enter_comes_filled_in_also_in_pounds(
    house: Api, visitor_as: Callable[..., Visitor]
) -> None:
    bea = visitor_as("buyer")
    due = house.get("/cover/orders?by=component")["items"][0]
    form = hidden_fields(bea.get("/account").text)
    bea.post("/account/manner", form | {"language": "en", "mass_unit": "lb"})

    link = re.findall(r'href="(/contracts/new\?[^"]+)"', bea.get("/cover/orders").text)[0]
    filled = filled_fields(bea.get(unescape(link)).text)

    assert filled["component"] == due["key"]
    # The international pound is 0.45359237 kg exactly (weights and measures acts since 1959).
    pounds = Decimal(str(due["suggested_kg"])) / Decimal("0.45359237")
    assert filled["quantity_kg:lb"] == f"{pounds:.2f}".rstrip("0").rstrip(".")


def test_pictures_and_the_report_are_served_to_whoever_is_signed_in(
    house: Api, visitor_as: Callable[..., Visitor]
) -> None:
    rufus = visitor_as("roaster")
    pages = {
        "/cover/board.svg?by=component": ("/cover.svg", "Tage Reichweite nach Komponente"),
        "/cover/projection.svg?by=component&key=Base&days=30":
            ("/cover/projection.svg?key=Base&days=30", "Kommender Bestand: Base"),
        "/cover/use.svg?by=component&key=Base":
            ("/cover/use.svg?key=Base", "Verbrauch am Tag: Base"),
        "/green/months.svg": ("/ageing/months.svg", "Monate seit der Ernte"),
    }  # fmt: skip
    for page, (path, german) in pages.items():
        drawn, plain = rufus.get(page, Accept_Language="de").text, house.send("GET", path).text
        assert 'xml:lang="de"' in drawn, page
        assert german in drawn, page
        assert 'xml:lang="en"' in plain, path
        assert german not in plain, path
    printed = rufus.get("/cover/report.pdf", Accept_Language="de")
    assert printed.headers["content-type"] == "application/pdf"
    said = words_of(printed.content)
    for german in (
        "Einkaufsbericht", "Gesperrt kg", "über 28 und über 56 Tage", "90 Tage, Streuung 14",
        "jetzt Base", "Säcke", "40 (Karte)", "Der Bestellpunkt von", "300 kg aus PC-FWD",
        "Lot GL-HELD (gesperrt)", "Seite 1 von", "nicht in diesen Zahlen",
    ):  # fmt: skip
        assert german in said, german
    # The report of a page in English is the very one of the API.
    assert rufus.get("/cover/report.pdf").content == house.send("GET", "/cover/report.pdf").content
    orders = rufus.get("/cover/orders", Accept_Language="de").text
    assert "Der Bestellpunkt von" in orders
    assert "are available or on order" not in orders
    board = rufus.get("/cover/board.svg", Accept_Language="de").text
    assert "kein Verbrauch im Zeitraum" in board
    assert "no use in window" not in board
    assert "Enter the contract" not in words(rufus.get("/cover/orders"))
    for path in ("/contracts", "/contracts/new", "/planning", "/planning/card?item=origin:ET"):
        assert rufus.get(path).status_code == 403, path
    assert "What to order" not in rufus.get("/").text


def test_what_if_is_asked_and_nothing_is_booked(
    house: Api, visitor_as: Callable[..., Visitor]
) -> None:
    bea = visitor_as("buyer")
    before = house.get("/entries?limit=500")["items"]
    asked = {"joins": [{"product": "HOUSE-2000", "bags_a_week": 35}], "fails": ["GL-BRIGHT"]}
    (base, bright) = house.post("/cover/what-if", asked)["items"]

    hidden = hidden_fields(bea.get("/cover/projection?key=Base").text)

    def suppose(product: str, bags: str, fails: str = "") -> httpx.Response:
        return bea.post("/cover/what-if", hidden | {
            "joins.0.product": product, "joins.0.bags_a_week": bags, "fails": fails,
        })  # fmt: skip

    told, wrong = suppose("HOUSE-2000", "35", "gl-bright"), suppose("NONE", "2")
    nothing = suppose("", "")

    # 600 kg and 60 of another lot at 10.714 kg a day, and at 70 kg roasted a week more.
    assert f"Base 61.6 {round(base['after']['days_of_cover'], 1)}" in words(told)
    assert (bright["after"]["available_kg"], "Bright 14 0 0" in words(told)) == (0, True)
    assert wrong.status_code == 422
    assert "there is no product NONE" in words(wrong)
    assert 'value="NONE"' in wrong.text
    assert "That changes nothing." in words(nothing)
    assert house.get("/entries?limit=500")["items"] == before


def test_a_contract_is_entered_and_changed_and_only_what_was_changed_is_booked(
    house: Api, visitor_as: Callable[..., Visitor], book_is_sound: Callable[[], None]
) -> None:
    bea = visitor_as("buyer")
    house.post("/contracts", {
        "reference": "PC/LATE 1", "supplier": "Finca El Roble", "quantity_kg": 200.5,
        "weight_basis": "shipped", "expected_on": str(ago(3)), "note": "call them",
        "shipped_from": str(ago(40)), "shipped_until": str(ago(20)),
    })  # fmt: skip
    house.post("/contracts", {
        "reference": "PC-SHIP", "supplier": "Finca El Roble", "quantity_kg": 60,
        "weight_basis": "landed", "shipped_from": str(ago(9)),
    })  # fmt: skip
    came = {"reference": "PC-CAME", "supplier": "Finca El Roble", "quantity_kg": 60,
            "weight_basis": "landed"}  # fmt: skip
    house.post("/contracts", came)
    arrive(house, "GL-CAME", 60, on=ago(2), contract="PC-CAME")

    brought = bea.get("/contracts/new?component=Base&quantity_kg=540&supplier=Finca+El+Roble")
    agreed = {"reference": "pc-new", "supplier": "Finca El Roble", "quantity_kg": "1250.5",
              "price": "3.9", "weight_basis": "landed", "form": "us"}  # fmt: skip
    half = bea.fill("/contracts/new", **agreed)
    made = bea.fill("/contracts/new", **agreed, currency="usd", price_unit="lb",
                    component="Base", origin="br")  # fmt: skip
    listed = words(bea.get("/contracts"))
    change = "/contracts/change?reference=PC%2FLATE+1"
    as_it_was = filled_fields(bea.get(change).text)
    changed = bea.post(change, as_it_was | {"expected_on": str(ago(-9)), "note": ""})
    late = house.get("/contracts/PC%2FLATE 1")
    ended = bea.post(change, filled_fields(bea.get(change).text) | {"ended_on": str(ago(0))})
    at_last = words(bea.get("/contracts?state=ended"))
    stale = bea.post(change, as_it_was | {"expected_on": str(ago(-10)), "_key": "another"})
    same = bea.post(change, filled_fields(bea.get(change).text))

    assert 'value="540"' in brought.text
    assert '<option value="Finca El Roble" selected>' in brought.text
    assert half.status_code == 422
    assert "A price has a currency and is for one of a unit: give all three" in words(half)
    assert made.status_code == 303
    # A pound is 0.45359237 kg: 3.9 / 0.45359237 = 8.5980.
    assert house.get("/contracts/PC-NEW")["price_per_kg"] == kg("8.598")
    states = {
        state: listed.index(f"{state} (1)")
        for state in ("Late", "Afloat or on the road", "Received")
    }
    for state, reference in (("Late", "PC/LATE 1"), ("Received", "PC-CAME")):
        assert states[state] < listed.index(reference)
    assert changed.status_code == 303
    assert ended.status_code == 303
    assert "Ended: nothing more comes (1)" in at_last
    assert "PC/LATE 1" in at_last
    assert (late["expected_on"], late["note"], late["quantity_kg"]) == (
        str(ago(-9)), None, kg("200.5"),
    )  # fmt: skip
    *_, entry = [each for each in house.get("/entries?limit=500")["items"]
                 if each["kind"] == "contract changed"]  # fmt: skip
    assert stale.status_code == 412
    assert same.status_code == 422
    assert "Nothing was changed." in words(same)
    assert entry["who"] == "buyer"
    book_is_sound()


def test_a_planning_card_is_entered_and_changed(
    house: Api, visitor_as: Callable[..., Visitor]
) -> None:
    bea = visitor_as("buyer")
    path = "/planning/card?item=component:Base"

    made = bea.fill(path, lead_time_days="30", lead_time_sd_days="2.5", service_pct="97.5",
                    order_unit="pallet", harvest_bound="false")  # fmt: skip
    again = bea.post(
        path, filled_fields(bea.get(path).text) | {"order_unit": "sack", "service_pct": ""}
    )
    wrong = bea.post(path, filled_fields(bea.get(path).text) | {"service_pct": "100"})

    assert (made.status_code, again.status_code, wrong.status_code) == (303, 303, 422)
    card = house.get("/planning-cards/component:Base")
    assert (card["lead_time_days"], card["lead_time_sd_days"], card["service_pct"]) == (
        30, kg("2.5"), None,
    )  # fmt: skip
    assert (card["order_unit"], card["version"]) == ("sack", 2)
    assert "30 by the planning card" in words(bea.get(made.headers["location"]))


def test_green_is_found_by_age_and_hold_and_prices_are_for_those_who_may(
    house: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    house.post("/costs", {"lot": "GL-BASE", "kind": "purchase", "amount": 6000, "currency": "EUR"})
    house.post("/costs", {"lot": "GL-BASE", "kind": "freight", "amount": 300, "currency": "USD"})
    bea, rufus = visitor_as("buyer"), visitor_as("roaster")

    statements()
    everything, counted = words(bea.get("/green")), statements()

    assert "5 lots, 1,260" in everything
    assert everything.index("GL-FILTER") < everything.index("GL-BASE"), "the oldest first"
    assert "5 EUR 0.25 USD" in everything
    assert "EUR" not in words(rufus.get("/green"))
    for query, found in (
        ("hold=held", ["GL-HELD"]), ("light=red", ["GL-FILTER"]), ("origin=br", ["GL-BASE"]),
        ("text=odd", ["GL-ODD"]), ("text=no-such", []),
    ):  # fmt: skip
        said = words(bea.get(f"/green?{query}"))
        assert [lot for lot in ("GL-BASE", "GL-BRIGHT", "GL-HELD", "GL-FILTER", "GL-ODD")
                if lot in said] == found  # fmt: skip
    lot = words(bea.get("/green/gl-base"))
    assert "5 EUR" in lot
    assert "Something lacks" in lot
    assert "On hold" not in lot
    assert "On hold: it must not be used" in words(bea.get("/green/GL-HELD"))
    assert "What it cost" not in words(rufus.get("/green/GL-BASE"))
    assert bea.get("/green/NO-SUCH").status_code == 404
    for number in range(60):
        arrive(house, f"GL-M{number}", 60, on=ago(20), origin="KE")
    statements()
    assert "and 15 more" in words(bea.get("/green"))
    assert statements() == counted <= 20
    assert "GL-M59" in words(bea.get("/green?start=50"))

"""Cards at the pages: entered, changed by their version, and what cannot be changed is said."""

import re
from collections.abc import Callable

from tests.api import Api
from tests.makers import furnish, receive
from tests.web.conftest import Visitor, filled_fields, words


def test_cards_are_entered_changed_and_emptied(
    api: Api,
    visitor_as: Callable[..., Visitor],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    ada = visitor_as("admin")

    place = ada.fill("/cards/places/new", code="c-03", kind="rack", capacity_kg="1200,5")
    ada.fill("/cards/machines/new", code="DRUM-5", kind="roaster", capacity_kg="5")
    ada.fill(
        "/cards/products/new", sku="PIKE-500", name="Pike", nominal_g="500", shelf_life_days="300"
    )
    ada.fill("/cards/styles/new", name="Pike", loss_pct="15,5", machine="DRUM-5")
    ada.fill("/cards/suppliers/new", name="Coopérative du Lac", email="ask@lake.example")
    ada.fill("/cards/customers/new", name="Zum Kran", contact="Bo, +49 000 5", kind="business")
    ada.fill("/cards/instruments/new", code="MM-1", name="Meter", kinds=["moisture", "temperature"])
    ada.fill("/cards/materials/new", code="BAG-1", name="Bag", kind="bag", unit="piece")
    twice = ada.fill("/cards/places/new", code="C-03", kind="rack")
    listed = words(ada.get("/cards/customers"))
    number = api.get("/customers/Zum%20Kran")["id"]
    page = ada.get(f"/cards/customers/{number}")
    form = filled_fields(page.text)
    changed = ada.post(f"/cards/customers/{number}", form | {"contact": "", "address": "Kai 3"})
    late = ada.post(f"/cards/customers/{number}", form | {"_key": "other", "name": "Am Kran"})
    now = filled_fields(ada.get(f"/cards/customers/{number}").text)
    nameless = ada.post(f"/cards/customers/{number}", now | {"name": ""})
    same = ada.fill("/cards/machines/DRUM-5", capacity_kg="5", carry_over_runs="1")
    kinds = ada.fill("/cards/instruments/MM-1", name="Meter", kinds=["moisture", "colour"])
    unticked = ada.fill("/cards/instruments/MM-1", name="Meter")

    assert place.status_code == 303
    assert str(api.get("/locations/C-03")["capacity_kg"]) == "1200.5"
    assert str(api.get("/styles/Pike")["loss_pct"]) == "15.5"
    assert api.get("/products/PIKE-500")["nominal_g"] == 500
    assert api.get("/materials/BAG-1")["kind"] == "bag"
    assert twice.status_code == 409
    assert 'value="C-03"' in twice.text
    assert "Zum Kran Bo, +49 000 5" in listed
    assert words(page).startswith("Customers Zum Kran")
    assert "The kind stays" in words(page)
    assert changed.status_code == 303
    kept = api.get("/customers/Zum%20Kran")
    assert (kept["contact"], kept["address"]) == (None, "Kai 3")
    assert late.status_code == 412
    assert "Open it as it is now" in words(late)
    assert nameless.status_code == 422
    assert "This is needed." in words(nameless)
    assert (same.status_code, kinds.status_code) == (303, 303)
    assert api.get("/machines/DRUM-5")["version"] == 1
    assert re.search(r"<fieldset[^>]* wrong.*Tick at least one", unticked.text, re.DOTALL)
    assert (unticked.status_code, " checked" in unticked.text) == (422, False)
    assert api.get("/instruments/MM-1")["kinds"] == ["colour", "moisture"]
    book_is_sound()


def test_a_card_is_kept_by_those_alone_who_may(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    noor, buyer = visitor_as("warehouse"), visitor_as("buyer")

    assert noor.get("/cards/places").status_code == 200
    assert noor.get("/cards/machines/new").status_code == 403
    assert noor.get("/cards/customers/1").status_code == 403
    assert buyer.get("/cards/customers/1").status_code == 200
    assert buyer.get("/cards/nothing").status_code == 404
    assert "/cards/machines" not in buyer.get("/").text


def test_rows_of_cards_are_entered_changed_and_sent_only_when_touched(
    api: Api, visitor_as: Callable[..., Visitor], book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-7")
    receive(api, 60, lot="GL-8")
    ada = visitor_as("admin")

    def card(path: str) -> dict[str, str]:
        return filled_fields(ada.get(path).text)

    ada.fill(
        "/cards/styles/new", name="Pike", green__0__lots="gl-7 GL-8", green__0__share_pct="100"
    )
    ada.fill("/cards/recipes/new", name="House", components__0__name="Pike",
             components__0__share_pct="60", components__1__name="Dark",
             components__1__share_pct="40")  # fmt: skip
    short = ada.fill("/cards/recipes/new", name="Odd", components__0__name="Pike",
                     components__0__share_pct="60")  # fmt: skip
    recipe, style = (f"/cards/{each}/1" for each in ("recipes", "styles"))
    form = card(recipe)
    noted = ada.post(recipe, form | {"note": "the usual one"})
    row = {"components.0.share_pct": "62,5", "components.1.share_pct": "37,5"}
    shares = ada.post(recipe, card(recipe) | row | {"_key": "shares"})
    bare = {name: "" for name in form if name.startswith("components.")}
    none = ada.post(recipe, card(recipe) | bare | {"_key": "none"})
    asked = ada.post(recipe, card(recipe) | {"_ask": "more.components", "_key": "more"})
    free = {name: "" for name in card(style) if name.startswith("green.")}
    cleared = ada.post(style, card(style) | free)

    assert short.status_code == 422
    assert "The shares add up to 60" in words(short)
    assert (noted.status_code, shares.status_code, cleared.status_code) == (303, 303, 303)
    assert none.status_code == 422
    assert asked.status_code == 200
    assert 'name="components.2.name"' in asked.text
    entries = api.get("/entries?limit=200")["items"]
    changes = [each["id"] for each in entries if each["kind"] == "recipe changed"]
    said = [words(ada.get(f"/journal/{number}")) for number in changes]
    assert ["components" in each for each in said] == [False, True]
    kept = api.get("/recipes/House")["components"]
    assert [(each["name"], str(each["share_pct"])) for each in kept] == [
        ("Pike", "62.5"),
        ("Dark", "37.5"),
    ]
    assert api.get("/styles/Pike")["green"] is None
    book_is_sound()


def test_certificates_and_costs_are_put_on_record_for_a_lot_and_taken_back(
    api: Api, visitor_as: Callable[..., Visitor], book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-7")
    buyer, noor = visitor_as("buyer"), visitor_as("warehouse")
    certificate = {"code": "bio-1", "scheme": "EU organic", "claim": "Organic", "number": "DE-1"}

    entered = buyer.fill("/cards/certificates/new", **certificate, valid_from="2026-01-01")
    stands = buyer.fill("/green/GL-7/certificate", certificate="BIO-1", transaction="COI 7")
    twice = buyer.fill("/green/GL-7/certificate", certificate="BIO-1")
    paid = buyer.fill("/green/gl-7/cost", lot="GL-7", kind="freight", amount="120,50",
                      currency="EUR")  # fmt: skip
    bare = buyer.fill("/green/GL-7/cost", lot="GL-7", kind="freight", currency="EUR")
    shown = buyer.get("/green/GL-7")

    assert (entered.status_code, stands.headers["location"]) == (303, "/green/GL-7")
    assert (twice.status_code, bare.status_code) == (409, 422)
    assert paid.headers["location"] == "/green/GL-7/cost?currency=EUR"
    assert "/void/" not in noor.get("/green/GL-7").text
    assert noor.get("/green/GL-7/cost").status_code == 403
    for act in ("/void/lot-certificate/1?of=GL-7", "/void/cost/1"):
        assert f'href="{act}"' in shown.text
        assert buyer.fill(act, reason="the other lot").status_code == 303
    [on_record] = api.get("/lots/GL-7/certificates")["items"]
    assert on_record["withdrawn_because"] == "the other lot"
    assert api.get("/costs?lot=GL-7")["items"][0]["voided"]
    assert "/void/" not in buyer.get("/green/GL-7").text
    book_is_sound()


def test_where_a_lot_grew_and_the_role_of_the_firm_are_put_on_record_at_the_pages(
    api: Api, visitor_as: Callable[..., Visitor], book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-7")
    buyer, noor = visitor_as("buyer"), visitor_as("warehouse")
    delivery = api.get("/deliveries")["items"][0]["code"]

    before = words(buyer.get("/green/GL-7"))
    role = buyer.fill(f"/deliveries/{delivery.lower()}/role", role="trader", from_operator="true")
    wrong = buyer.fill(f"/deliveries/{delivery}/role", role="none", from_operator="true")
    more = buyer.fill("/green/GL-7/evidence", statements__0__reference="26XX1",
                      _ask="more.statements")  # fmt: skip
    said = buyer.fill(
        "/green/gl-7/evidence", statements__0__reference="26XX1",
        statements__1__reference="26XX2", statements__1__simplified="true",
        produced_from="2026-01-02", produced_to="2026-03-04", hs_code="0901 11",
    )  # fmt: skip
    nothing = buyer.fill("/green/GL-7/evidence", hs_code="9")
    alone = buyer.fill("/green/GL-7/evidence", not_available="lost", hs_code="090111")
    after = words(buyer.get("/green/GL-7"))

    assert "role of the firm" in before
    assert role.headers["location"] == f"/deliveries/{delivery}"
    assert (wrong.status_code, nothing.status_code, alone.status_code) == (422, 422, 422)
    assert 'name="statements.1.reference"' in more.text
    assert said.headers["location"] == "/green/GL-7"
    assert "role of the firm" not in after
    assert "26XX1 26XX2" in after
    assert "Produced 2 Jan 2026" in after
    assert "9 is no HS code" in words(nothing)
    assert f'href="/deliveries/{delivery}/role"' in buyer.get(f"/deliveries/{delivery}").text
    assert noor.get("/green/GL-7/evidence").status_code == 403
    assert noor.get(f"/deliveries/{delivery}/role").status_code == 403
    assert f"/deliveries/{delivery}/role" not in noor.get(f"/deliveries/{delivery}").text
    book_is_sound()

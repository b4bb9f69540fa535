"""Cards at the pages: entered, changed by their version, and what cannot be changed is said."""

from collections.abc import Callable

from tests.api import Api
from tests.makers import furnish
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
    kinds = ada.fill("/cards/instruments/MM-1", name="Meter", kinds=["moisture"])

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
    assert api.get("/instruments/MM-1")["kinds"] == ["moisture"]
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

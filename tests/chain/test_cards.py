"""Suppliers, customers, places, machines and products: what can be edited."""

import pytest

from tests.api import Api, problem

CARDS = [
    ("/suppliers", {"name": "Finca El Roble"}, "finca el roble", {"name": "El Roble"}),
    ("/customers", {"name": "Café Nord", "contact": "Ida"}, "CAFÉ NORD", {"contact": "Ole"}),
    ("/crate-kinds", {"name": "Green 60", "tare_kg": 2.5}, "GREEN 60", {"deposit": True}),
    ("/locations", {"code": "B-02", "kind": "rack", "capacity_kg": 900}, "b-02", {"site": "North"}),
    ("/machines", {"code": "DRUM", "kind": "roaster"}, "drum", {"capacity_kg": 75.5}),
    ("/styles", {"name": "Filter", "loss_pct": 14.5}, "FILTER", {"colour_target": 70.5}),
    (
        "/recipes",
        {"name": "House", "components": [{"name": "Huila", "share_pct": 100.0}]},
        "HOUSE",
        {"tolerance": 1.5},
    ),
    ("/products", {"sku": "H250", "name": "House", "nominal_g": 250}, "h250", {"name": "Home"}),
]


@pytest.mark.parametrize(("path", "card", "key", "change"), CARDS)
def test_a_card_is_entered_found_whatever_its_capitals_and_changed(
    api: Api, path: str, card: dict[str, object], key: str, change: dict[str, object]
) -> None:
    entered = api.send("POST", path, card)
    read = api.send("GET", f"{path}/{key}")

    changed = api.send("PATCH", f"{path}/{key}", change, If_Match=read.headers["etag"])

    assert entered.status_code == 201
    assert entered.headers["etag"] == read.headers["etag"]
    assert card.items() <= read.json().items()
    assert changed.status_code == 200
    assert change.items() <= changed.json().items()
    assert changed.headers["etag"] != read.headers["etag"]
    assert api.get(path)["items"] == [changed.json()]


@pytest.mark.parametrize(("path", "card", "key"), [case[:3] for case in CARDS])
def test_a_name_or_code_is_taken_whatever_its_capitals(
    api: Api, path: str, card: dict[str, object], key: str
) -> None:
    api.post(path, card)
    field = next(iter(card))

    refusal = problem(api.send("POST", path, card | {field: key}), 409, _taken(path))

    assert key.casefold() in refusal["detail"].casefold()
    assert len(api.get(path)["items"]) == 1


def _taken(path: str) -> str:
    return (
        "name-taken"
        if path in {"/suppliers", "/customers", "/crate-kinds", "/styles", "/recipes"}
        else "code-taken"
    )


@pytest.mark.parametrize(("path", "card", "key", "change"), CARDS)
def test_a_change_without_the_version_it_was_made_on_is_refused(
    api: Api, path: str, card: dict[str, object], key: str, change: dict[str, object]
) -> None:
    first = api.send("POST", path, card).headers["etag"]
    where = f"{path}/1" if path == "/suppliers" else f"{path}/{key}"

    problem(api.send("PATCH", where, change), 428, "precondition-required")
    assert api.send("PATCH", where, change, If_Match=first).status_code == 200
    stale = api.send("PATCH", where, change, If_Match=first)

    refusal = problem(stale, 412, "precondition-failed")
    assert refusal["etag"] == api.send("GET", where).headers["etag"]


# "é" as one letter and as two: UAX #15, Unicode Normalization Forms, figure 3.
@pytest.mark.parametrize(
    "same", ["CAFE\u0301 \u00a0 NORD", "  caf\u00e9\u2003nord ", "caf\u00e9 no\u200brd\u00ad"]
)
@pytest.mark.parametrize("path", ["/customers", "/suppliers", "/crate-kinds", "/styles"])
def test_names_that_differ_in_accents_as_typed_or_in_spaces_are_one(
    api: Api, path: str, same: str
) -> None:
    api.post(path, {"name": "Caf\u00e9 Nord"})

    api.refuse(path, {"name": same}, 409, "name-taken")

    if path == "/suppliers":
        lot = {"name": "Sidama", "origin": "ET", "sacks": [{"net_kg": 60}]}
        api.post(
            "/deliveries", {"supplier": same, "received_at": "2026-03-02T08:00:00Z", "lots": [lot]}
        )
    assert [card["name"] for card in api.get(path)["items"]] == ["Caf\u00e9 Nord"]


@pytest.mark.parametrize(
    "name",
    [
        "\u200b", "\u00ad\u2060\ufeff", "\u3164", "\u200d \ufe0f", "\u0301",
        "Finca\x0b\x1f", "Finca\tEl Roble", "Finca\nEl Roble", "Finca\u2028El Roble", "\x7fFinca",
        "\u202eelboR lE acniF", "Finca \u2066El Roble\u2069",
    ],
    ids=ascii,
)  # fmt: skip
@pytest.mark.parametrize("path", ["/customers", "/suppliers", "/crate-kinds", "/styles"])
def test_a_name_that_nobody_can_read_is_no_name(api: Api, path: str, name: str) -> None:
    api.post(path, {"name": "Finca"})

    new = api.refuse(path, {"name": name}, 422, "invalid")
    renamed = problem(
        api.send("PATCH", f"{path}/1", {"name": name}, If_Match='"1"'), 422, "invalid"
    )

    for refusal in (new, renamed):
        assert refusal["errors"][0]["pointer"] == "#/name"
        assert "a name " in refusal["detail"]
    assert [card["name"] for card in api.get(path)["items"]] == ["Finca"]


# The Unicode Standard, 23.2: Persian and Malayalam write joiners within words.
@pytest.mark.parametrize(
    "name",
    [
        "\u0642\u0647\u0648\u0647\u200c\u0627\u06cc",
        "\u0d15\u0d3e\u0d2a\u0d4d\u200d\u0d2a\u0d3f",
        "Nr. 1",
        "\u5496\u5561",
        "\u2615",
    ],
    ids=ascii,
)
def test_names_are_written_in_every_script(api: Api, name: str) -> None:
    assert api.post("/suppliers", {"name": name})["name"] == name
    api.refuse("/suppliers", {"name": name.replace("\u200c", "")}, 409, "name-taken")


def test_a_name_does_not_hide_the_card_with_that_number(api: Api) -> None:
    api.post("/suppliers", {"name": "Finca"})
    api.refuse("/suppliers", {"name": "1\u200b"}, 422, "invalid")
    [error] = api.refuse("/suppliers", {"name": "1"}, 422, "invalid")["errors"]
    renamed = api.send("PATCH", "/suppliers/1", {"name": "17"}, If_Match='"1"')

    assert error["pointer"] == "#/name"
    problem(renamed, 422, "invalid")
    assert api.post("/suppliers", {"name": "1883 Estate"})["id"] == 2
    for number in (0, -1, 10**12):
        asked = {"supplier": number, "received_at": "2026-03-02T08:00:00Z"}
        api.refuse("/deliveries", asked | {"lots": [
            {"name": "Sidama", "origin": "ET", "sacks": [{"net_kg": 60}]}
        ]}, 422, "unknown-reference")  # fmt: skip


def test_a_customer_can_be_renamed_but_not_to_a_name_that_is_taken(api: Api) -> None:
    api.post("/customers", {"name": "Café Nord"})
    other = api.send("POST", "/customers", {"name": "Café Süd"})

    taken = api.send("PATCH", "/customers/2", {"name": "CAFÉ NORD"}, If_Match=other.headers["etag"])
    renamed = api.send("PATCH", "/customers/2", {"name": "Café West"}, If_Match='"1"')

    problem(taken, 409, "name-taken")
    assert renamed.json()["name"] == "Café West"


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"sku": "H", "name": "House", "nominal_g": 0}, "#/nominal_g"),
        ({"sku": "H", "name": "House", "nominal_g": 250.5}, "#/nominal_g"),
        ({"sku": "H", "name": "House", "nominal_g": 250, "gtin": "4006381333932"}, "#/gtin"),
        # A scan would never find what is kept with signs between.
        ({"sku": "H", "name": "House", "nominal_g": 250, "gtin": "4006381-333931"}, "#/gtin"),
        ({"sku": "H", "name": "House", "nominal_g": 250, "gtin": "4006381333931 "}, "#/gtin"),
        ({"sku": "H H", "name": "House", "nominal_g": 250}, "#/sku"),
        ({"sku": "H", "name": "  ", "nominal_g": 250}, "#/name"),
        ({"sku": "H", "name": "House", "nominal_g": 250, "price": 9}, "#/price"),
    ],
)
def test_a_product_with_a_wrong_field_is_refused_and_the_field_is_named(
    api: Api, body: dict[str, object], pointer: str
) -> None:
    refusal = api.refuse("/products", body, 422, "invalid")

    assert [error["pointer"] for error in refusal["errors"]] == [pointer]
    assert api.get("/products")["items"] == []


def test_a_valid_gtin_is_kept(api: Api) -> None:
    # EAN-13 4006381333931: the worked example of the GS1 check digit in public encyclopaedias.
    body = {"sku": "H", "name": "House", "nominal_g": 250, "gtin": "4006381333931"}

    assert api.post("/products", body)["gtin"] == "4006381333931"


def test_a_gtin_is_that_of_one_product(api: Api) -> None:
    # GS1 General Specifications, 4.2 "GTIN rules" (title from memory): a GTIN identifies one trade
    # item. Figure: the worked check digit above; zeros before it make no other number (AI 01).
    gtin = "4006381333931"
    for sku in ("H", "K"):
        api.post("/products", {"sku": sku, "name": "House", "nominal_g": 250})
    api.send("PATCH", "/products/H", {"gtin": gtin}, If_Match='"1"')

    new = {"sku": "L", "name": "Long", "nominal_g": 250, "gtin": f"0{gtin}"}
    refused = api.refuse("/products", new, 409, "code-taken")
    changed = api.send("PATCH", "/products/K", {"gtin": gtin}, If_Match='"1"')
    own = api.send("PATCH", "/products/H", {"gtin": f"0{gtin}"}, If_Match='"2"')

    assert refused["errors"][0]["pointer"] == "#/gtin"
    assert "H" in problem(changed, 409, "code-taken")["detail"]
    assert own.json()["gtin"] == f"0{gtin}"


def test_the_code_of_a_place_is_not_that_of_a_unit(api: Api) -> None:
    api.post("/suppliers", {"name": "Finca"})
    lot = {"code": "B-02", "name": "Sidama", "origin": "ET", "sacks": [{"net_kg": 60}]}
    api.post(
        "/deliveries",
        {"supplier": "Finca", "received_at": "2026-03-02T08:00:00Z", "lots": [lot]},
    )

    api.refuse("/locations", {"code": "b-02", "kind": "rack"}, 409, "code-taken")

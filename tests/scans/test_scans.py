"""A scan through the API: what it is, what of the house it names, and what it refuses."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import Engine, event

from tests.api import Api
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes

GTIN = "9521234000105"
BAG = f"0{GTIN}"


@pytest.fixture
def house(api: Api) -> Api:
    """A roastery with a lot of one sack, a roast and a pack, whose product has a GTIN."""
    furnish(api)
    card = api.get("/products/HOUSE-250")
    answer = api.send(
        "PATCH", "/products/HOUSE-250", {"gtin": GTIN}, If_Match=f'"{card["version"]}"'
    )
    assert answer.status_code == 200
    lot = receive(api, 60, lot="GL-1", ico_mark="002/1961/0978")
    roast(api, {sack_codes(lot)[0]: 20}, 17, code="RB-1")
    pack(api, {"RB-1": 2}, 8, code="26110501A")
    return api


def scan(api: Api, text: str) -> Any:
    return api.post("/scans", {"text": text})


def named(answer: Any) -> list[tuple[str, str, str | None]]:
    return [(each["kind"], each["code"], each["name"]) for each in answer["found"]]


def test_whatever_carries_a_code_of_the_house_is_found_and_named(house: Api) -> None:
    sack = house.get("/sacks?lot=GL-1")["items"][0]["code"]
    sent = dispatch(house, {"26110501A": 1})["code"]

    for text, found in (
        ("gl-1", ("lot", "GL-1", "Sidama Washed")),
        (sack, ("sack", sack, "Sidama Washed")),
        ("]Q1RB-1\r\n", ("roast", "RB-1", None)),
        ("26110501A", ("pack", "26110501A", "House")),
        ("L 26110501A", ("pack", "26110501A", "House")),
        ("l26110501a", ("pack", "26110501A", "House")),
        (sent, ("dispatch", sent, "Café Nord")),
        ("A-01", ("location", "A-01", None)),
        ("drum-75", ("machine", "DRUM-75", None)),
        ("HOUSE-2000", ("product", "HOUSE-2000", "House, big")),
    ):
        answer = scan(house, text)
        assert named(answer) == [found]
        assert (answer["kind"], answer["says"], answer["why_not"]) == ("code", {}, None), text


def test_cases_orders_and_packing_materials_are_found_by_what_stands_on_them(house: Api) -> None:
    sscc = "395212340000000427"
    house.post("/cases", {"code": sscc, "contents": [{"pack": "26110501A", "bags": 2}]})
    house.post("/materials", {"code": "BAG", "name": "Bag", "kind": "bag", "unit": "piece"})
    lot = {"code": "PM-1", "material": "BAG", "quantity": 9, "received_at": "2026-03-01T08:00:00Z"}
    house.post("/material-lots", lot)
    line = {"product": "HOUSE-250", "bags": 2}
    order = {"code": "SO-1", "customer": "Café Nord", "due_on": "2026-03-05", "lines": [line]}
    house.post("/orders", order)

    for text, found in (
        (sscc, ("case", sscc, "case")),
        (f"]C100{sscc}", ("case", sscc, "case")),
        (f"(00){sscc}", ("case", sscc, "case")),
        ("PM-1", ("material_lot", "PM-1", None)),
        ("BAG", ("material", "BAG", "Bag")),
        ("so-1", ("order", "SO-1", None)),
    ):
        assert named(scan(house, text)) == [found], text
    unknown = scan(house, "(00)395212340000000434")
    assert (unknown["found"], "395212340000000434" in unknown["why_not"]) == ([], True)


def test_a_bag_is_found_by_its_trade_item_and_lot(house: Api) -> None:
    for text in (
        f"]d201{BAG}1526110110L26110501A\r",
        f"]C101{BAG}1026110501A\x1d15261101",
        f"01{BAG}1026110501A|15261101",
        f"(01) {BAG} (10) 26110501A",
        f"https://id.gs1.org/01/{BAG}/10/26110501a?15=261101",
        f"]Q1HTTPS://BRACKWATER.EXAMPLE/01/{BAG}/10/26110501A",
    ):
        answer = scan(house, text)
        assert answer["kind"] in {"element_string", "digital_link"}
        assert named(answer) == [("pack", "26110501A", "House")], text
        assert answer["says"]["01"]["value"] == BAG
        assert answer["read_as"].startswith(f"(01){BAG}")


def test_what_a_code_says_is_told_with_its_day_and_its_exact_weight(house: Api) -> None:
    answer = scan(house, f"]e001{BAG}3103000250152611001026110501A")

    assert answer["says"]["3103"] == {
        "title": "NET WEIGHT (kg)", "value": "000250", "day": None, "day_is_open": None,
        "amount": Decimal("0.250"),
    }  # fmt: skip
    assert answer["says"]["15"]["day"] == "2026-11-30"
    assert answer["says"]["15"]["day_is_open"] is True


def test_a_trade_item_alone_names_its_product(house: Api) -> None:
    for text in (GTIN, BAG, f"]E0{GTIN}", f"]C101{BAG}"):
        assert named(scan(house, text)) == [("product", "HOUSE-250", "House")], text


def test_a_lot_that_is_not_known_leaves_the_product_and_says_so(house: Api) -> None:
    answer = scan(house, f"(01){BAG}(10)NOT-HERE")

    assert named(answer) == [("product", "HOUSE-250", "House")]
    assert answer["why_not"] == "No pack of HOUSE-250 carries the lot NOT-HERE."


def test_the_lot_of_somebody_else_s_product_is_not_ours(house: Api) -> None:
    answer = scan(house, "(01)09521234000013(10)26110501A")

    assert answer["found"] == []
    assert answer["why_not"] == "No product here has the GTIN 09521234000013."


def test_a_shipping_unit_is_read_and_not_found(house: Api) -> None:
    answer = scan(house, "]C100395212340000000427")

    assert answer["says"]["00"]["value"] == "395212340000000427"
    assert answer["found"] == []
    assert answer["why_not"]


def test_a_mark_names_its_lots_of_every_coffee_year(house: Api) -> None:
    receive(house, 30, lot="GL-2", ico_mark="2/1961/978", coffee_year="2024/25")

    answer = scan(house, "2 / 1961 / 978")

    assert answer["kind"] == "ico_mark"
    assert answer["read_as"] == "002/1961/0978"
    assert {name: part["value"] for name, part in answer["says"].items()} == {
        "country": "002", "exporter": "1961", "serial": "0978",
    }  # fmt: skip
    assert named(answer) == [
        ("lot", "GL-1", "Sidama Washed, coffee year 2025/26"),
        ("lot", "GL-2", "Sidama Washed, coffee year 2024/25"),
    ]


def test_everything_that_one_text_names_is_listed(house: Api) -> None:
    house.post("/machines", {"code": "A-01", "kind": "blender"})
    receive(house, 30, lot=GTIN)

    assert [each["kind"] for each in scan(house, "A-01")["found"]] == ["location", "machine"]
    twice = scan(house, GTIN)
    assert twice["kind"] == "code"
    assert [each["kind"] for each in twice["found"]] == ["lot", "product"]


def test_a_misread_code_is_told_from_one_that_was_never_booked(house: Api) -> None:
    sack = house.get("/sacks?lot=GL-1")["items"][0]["code"]
    swapped = f"{sack[:-1]}{'A' if sack[-1] != 'A' else 'B'}"

    misread, unknown = scan(house, swapped), scan(house, "GL-9")

    assert (misread["kind"], misread["found"]) == ("misread", [])
    assert "Scan" in misread["why_not"]
    assert (unknown["kind"], unknown["found"]) == ("code", [])
    assert unknown["why_not"] == "Nothing here carries the code GL-9."


def test_what_was_voided_is_found_and_said_to_be(house: Api) -> None:
    house.post("/units/26110501A/void", {"reason": "booked twice"})

    answer = scan(house, "26110501A")

    assert [each["voided"] for each in answer["found"]] == [True]
    assert answer["why_not"] == "26110501A was voided."


def test_any_other_text_is_answered_and_names_nothing(api: Api) -> None:
    for text in ("wet floor!", "https://brackwater.example/menu", "Grüße", "]C0"):
        answer = scan(api, text)
        assert (answer["kind"], answer["found"], answer["says"]) == ("unknown", [], {}), text
        assert answer["why_not"]


def test_a_broken_text_of_gs1_is_refused_by_the_name_of_the_rule(api: Api) -> None:
    for text, rule, ai in (
        ("(01)09521234000106", "check_digit", "01"),
        ("0109521234000106", "check_digit", "01"),
        (f"]d201{BAG}15271131", "date", "15"),
        (f"]d201{BAG}10{'A' * 21}", "length_or_characters", "10"),
        ("(10)26110501A", "companion_missing", "10"),
        (f"(01){BAG}(37)12", "not_together", "01"),
        (f"https://id.gs1.org/01/{BAG}?10=A", "link", "10"),
        (f"(01){BAG}(89)A", "unknown_ai", "89"),
        ("]C1", "shape", None),
    ):
        refusal = api.refuse("/scans", {"text": text}, 422, "malformed-gs1")
        assert (refusal["rule"], refusal["ai"]) == (rule, ai)
        assert [error["pointer"] for error in refusal["errors"]] == ["#/text"]


def test_nothing_and_too_much_are_refused(api: Api) -> None:
    for text in ("", " \r\n", "\x1b", "A" * 4301, 7, None):
        refusal = api.refuse("/scans", {"text": text}, 422, "invalid")
        assert [error["pointer"] for error in refusal["errors"]] == ["#/text"]


def test_a_scan_books_nothing_and_needs_few_statements(house: Api, engine: Engine) -> None:
    before = house.get("/entries?limit=500")["items"]
    counted: list[str] = []
    event.listen(engine, "before_cursor_execute", lambda *said: counted.append(said[2]))

    for text in ("GL-1", f"(01){BAG}(10)26110501A", "002-1961-0978", "NOT-HERE"):
        counted.clear()
        scan(house, text)
        assert sum(sql.startswith("SELECT") for sql in counted) <= 5, text

    assert house.get("/entries?limit=500")["items"] == before


@pytest.mark.usefixtures("house")
def test_everybody_who_reads_may_scan(api_as: Callable[..., Api]) -> None:
    for role in ("warehouse", "roaster", "quality", "buyer"):
        assert named(scan(api_as(role), "GL-1")) == [("lot", "GL-1", "Sidama Washed")]

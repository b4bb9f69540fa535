"""Ordering labels and scanning them back."""

from collections.abc import Callable
from typing import Any

import pytest
from fastapi import FastAPI

from app.main import open_book
from app.settings import Settings
from tests.api import Api, kg, problem
from tests.labels.paper import fetch
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes

HEAVY = "Heavy: use mechanical help or two trained people; assess first"


def order(api: Api, *codes: str, **more: Any) -> dict[str, Any]:
    made: dict[str, Any] = api.post("/labels", {"codes": list(codes)} | more)
    return made


@pytest.mark.parametrize("dpi", [150, 300])
@pytest.mark.parametrize("size", ["large", "small"])
def test_every_label_is_scanned_back_as_its_code(api: Api, size: str, dpi: int) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 69, lot="GL-1"))
    made = roast(api, {sack: 20}, 17)
    mixed = blend(api, {made["code"]: 10})
    packed = pack(api, {mixed["code"]: 5}, 20)
    sent = dispatch(api, {packed["code"]: 10})
    [back] = api.post(
        "/returns",
        {
            "dispatch": sent["code"],
            "lines": [{"pack": packed["code"], "bags": 2}],
            "reason": "seals open",
        },
    )["lines"]
    codes = [sack, made["code"], mixed["code"], packed["code"], back["code"], "B-02"]

    ordered = order(api, *codes, size=size)
    paper = fetch(api, ordered)

    assert ordered["codes"] == codes
    assert [[seen.text for seen in paper.scan(dpi, page)] for page in range(len(paper))] == [
        [code] for code in codes
    ]


def test_a_sack_s_label_says_what_is_in_the_sack(api: Api) -> None:
    furnish(api)
    received = receive(api, 69, kg("60.2"), lot="GL-1")
    first, second = sack_codes(received)
    api.post("/moves", {"sacks": [second], "to": "B-02"})

    paper = fetch(api, order(api, first, second))

    assert paper.size_mm() == (100.0, 70.0)
    said = paper.text(1)
    for text in (
        second, "Sidama Washed", "60.2 kg net", "Lot GL-1", "sack 2 of 2", "Ethiopia",
        "arrived 2026-03-02", "place B-02", "print 1", HEAVY,
    ):  # fmt: skip
        assert text in said
    assert "place" not in paper.text(0)
    assert "ON HOLD" not in said
    assert "reprint" not in said


@pytest.mark.parametrize(("net_kg", "heavy"), [
    # "Manual handling in the food and drink industry" of Great Britain's Health and Safety
    # Executive asks to bring sacks down to 25 kg, and assesses them even then.
    ("70", True),
    ("30", True),
    ("25.001", True),
    ("25", False),
    ("20", False),
])  # fmt: skip
def test_a_heavy_sack_carries_a_caution(api: Api, net_kg: str, heavy: bool) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, kg(net_kg)))

    said = fetch(api, order(api, sack)).text()

    assert (HEAVY in said) is heavy
    assert "safe" not in said.lower()


def test_the_caution_follows_what_is_left_in_the_sack(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60))
    roast(api, {sack: 40}, 34)

    said = fetch(api, order(api, sack)).text()

    assert "60.0 kg net" in said
    assert "20.0 kg left" in said
    assert "Heavy" not in said


def test_what_counts_as_heavy_is_the_roastery_s_to_set(
    service: FastAPI, settings: Settings, api: Api
) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 20))
    ordered = order(api, sack)
    open_book(service, settings.model_copy(update={"heavy_over_kg": kg("16")}))

    assert HEAVY in fetch(api, ordered).text()


def test_a_held_sack_says_so_until_it_is_released(api: Api) -> None:
    furnish(api)
    received = receive(api, 60, lot="GL-1")
    [sack] = sack_codes(received)
    held = api.post("/holds", {"units": ["GL-1"], "reason": "smells of diesel"})
    ordered = order(api, sack)
    before = fetch(api, ordered).text()

    api.post(f"/holds/{held['id']}/release", {"reason": "cupped clean"})

    assert "ON HOLD" in before
    assert "ON HOLD" not in fetch(api, ordered).text()


def test_a_roast_s_label_says_what_may_be_done_with_it(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60))
    passed = roast(api, {sack: 20}, 17, style="Filter", roasted_at="2026-03-03T09:00:00Z")
    missed = roast(api, {sack: 20}, 17, colour=80, style="Filter")
    ordered = order(api, passed["code"], missed["code"])
    paper = fetch(api, ordered)

    api.post(f"/roasts/{missed['code']}/cuppings", {"verdict": "reject"})

    for text in ("Filter", "end 17.0 kg", "roasted 2026-03-03", "on DRUM-75", "Passed"):
        assert text in paper.text(0)
    assert "SET ASIDE" not in paper.text(0)
    assert "SET ASIDE" in paper.text(1)
    assert "REJECTED" in fetch(api, ordered).text(1)


def test_a_pack_s_label_dates_the_bags(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60))
    made = roast(api, {sack: 20}, 17)
    packed = pack(api, {made["code"]: 5}, 20, packed_at="2026-03-05T09:00:00Z")

    said = fetch(api, order(api, packed["code"], copies=3))

    assert len(said) == 3
    for text in (
        packed["code"], f"L {packed['code']}", "House", "20 bags of 250 g",
        "best before 2027-03-05", "packed 2026-03-05", "HOUSE-250",
    ):  # fmt: skip
        assert text in said.text(2)


def test_returned_bags_are_labelled_with_their_hold(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60))
    packed = pack(api, {roast(api, {sack: 20}, 17)["code"]: 5}, 20)
    sent = dispatch(api, {packed["code"]: 10})
    back = api.post(
        "/returns",
        {
            "dispatch": sent["code"],
            "lines": [{"pack": packed["code"], "bags": 1}],
            "reason": "wet",
        },
    )

    said = fetch(api, order(api, back["code"])).text()

    for text in ("ON HOLD", "Returned: House", "1 bag of 250 g", packed["code"], sent["code"]):
        assert text in said


def test_a_place_s_label_says_what_it_is_and_takes(api: Api) -> None:
    furnish(api)
    api.post(
        "/locations",
        {"code": "Q", "kind": "roaster_side", "capacity_kg": 1200, "site": "Quay, hall 2"},
    )

    paper = fetch(api, order(api, "q", "A-01"))

    for text in ("Q", "Roaster side", "Quay, hall 2", "takes 1200.0 kg"):
        assert text in paper.text(0)
    assert "Rack" in paper.text(1)


def test_a_lot_prints_every_sack_that_has_coffee(api: Api) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, 60, lot="GL-1"))
    roast(api, {sacks[1]: 60}, 51)

    ordered = api.post("/labels", {"lot": "gl-1"})

    assert ordered["codes"] == [sacks[0], sacks[2]]
    assert ordered["labels"] == 2


def test_a_reprint_is_told_from_the_first_print(
    api_as: Callable[..., Api], api: Api, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    first, second = sack_codes(receive(api, 60, 60))
    warehouse = api_as("warehouse")

    once = order(warehouse, first, copies=2)
    twice = order(warehouse, first, second, "B-02")
    thrice = order(warehouse, first, "B-02")

    assert once["reprints"] == []
    assert twice["reprints"] == [{"code": first, "reprint": 1}]
    assert thrice["reprints"] == [{"code": first, "reprint": 2}, {"code": "B-02", "reprint": 1}]
    assert "reprint" not in fetch(api, once).text()
    assert "print 2, reprint 1" in fetch(api, twice).text(0)
    assert "reprint" not in fetch(api, twice).text(1)
    listed = api.get("/labels")["items"]
    assert [each["reprinted"] for each in listed] == [0, 1, 2]
    assert [each["labels"] for each in listed] == [2, 3, 2]
    assert {each["printed_by"] for each in listed} == {"warehouse"}
    assert [each["id"] for each in api.get(f"/labels?unit={second}")["items"]] == [2]
    assert api.get("/labels/3") == thrice
    book_is_sound()


def test_every_print_is_a_line_of_the_journal(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60))

    entries = [order(api, sack)["entry"], order(api, sack)["entry"]]

    journal = api.get("/entries?limit=500")["items"]
    assert [each["id"] for each in journal if each["kind"] == "labels printed"] == entries


def test_the_same_key_orders_once(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60))
    asked = {"codes": [sack]}

    first = api.post("/labels", asked, Idempotency_Key="labels-1")
    again = api.send("POST", "/labels", asked, Idempotency_Key="labels-1")

    assert again.headers["idempotency-replayed"] == "true"
    assert again.json()["id"] == first["id"]
    assert len(api.get("/labels")["items"]) == 1


def test_the_same_order_is_the_same_file(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60, name="雲南 Yúnnán", origin="CN"))
    ordered = order(api, sack)

    first, second = (api.send("GET", ordered["pdf"]) for _ in range(2))

    assert first.content == second.content
    assert first.headers["content-disposition"] == 'inline; filename="labels-1.pdf"'


def test_a_voided_unit_has_no_label(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60))
    made = roast(api, {sack: 20}, 17)
    ordered = order(api, made["code"], sack)
    api.post(f"/units/{made['code']}/void", {"reason": "booked twice"})

    refused = problem(api.send("GET", ordered["pdf"]), 409, "voided")

    assert refused["units"] == [made["code"]]
    assert made["code"] in api.refuse("/labels", {"codes": [made["code"]]}, 409, "voided")["detail"]


def test_codes_that_are_not_there_are_refused_by_name(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60, lot="GL-1"))
    misread = f"{sack[:-1]}{'A' if sack[-1] != 'A' else 'B'}"

    unknown = api.refuse("/labels", {"codes": [sack, "C-99"]}, 404, "unknown-code")
    wrong = api.refuse("/labels", {"codes": [misread]}, 404, "misread-code")
    lot = api.refuse("/labels", {"codes": ["GL-1"]}, 409, "wrong-kind")
    nothing = api.refuse("/labels", {"lot": "GL-2"}, 404, "unknown-code")
    one_sack = api.refuse("/labels", {"lot": sack}, 409, "wrong-kind")

    assert "C-99" in unknown["detail"]
    assert misread in wrong["detail"]
    assert "name it as lot" in lot["detail"]
    assert "GL-2" in nothing["detail"]
    assert sack in one_sack["detail"]
    assert api.get("/labels")["items"] == []


def test_a_code_of_a_sack_and_a_place_must_be_told_apart(api: Api) -> None:
    furnish(api)
    receive(api, 60)
    api.post(
        "/deliveries",
        {
            "supplier": "Finca El Roble",
            "received_at": "2026-03-02T08:00:00Z",
            "lots": [
                {"name": "Guji", "origin": "ET", "sacks": [{"code": "A-01", "net_kg": 30}]},
            ],
        },
    )

    api.refuse("/labels", {"codes": ["A-01"]}, 409, "ambiguous-code")

    unit = order(api, "A-01", subject_kind="unit")
    place = order(api, "A-01", subject_kind="location")
    assert "Guji" in fetch(api, unit).text()
    assert "Rack" in fetch(api, place).text()
    assert place["reprints"] == []


@pytest.mark.parametrize(("asked", "pointer"), [
    ({}, "#"),
    ({"codes": ["A-01"], "lot": "GL-1"}, "#"),
    ({"codes": ["A-01", "a-01"]}, "#"),
    ({"codes": []}, "#/codes"),
    ({"codes": ["A-01"], "size": "huge"}, "#/size"),
    ({"codes": ["A-01"], "sheet": "a3"}, "#/sheet"),
    ({"codes": ["A-01"], "start_at": 2}, "#/start_at"),
    ({"codes": ["A-01"], "sheet": "a4", "start_at": 9}, "#/start_at"),
    ({"codes": ["A-01"], "sheet": "a4", "size": "small", "start_at": 22}, "#/start_at"),
    ({"codes": ["A-01"], "sheet": "a4", "start_at": 0}, "#/start_at"),
    ({"codes": ["A-01"], "copies": 0}, "#/copies"),
    ({"codes": ["A-01"], "copies": True}, "#/copies"),
    ({"codes": ["A-01"] , "colour": "red"}, "#/colour"),
])  # fmt: skip
def test_an_order_that_cannot_be_printed_is_refused_at_its_field(
    api: Api, asked: dict[str, Any], pointer: str
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1")

    refused = api.refuse("/labels", asked, 422, "invalid")

    assert [error["pointer"] for error in refused["errors"]] == [pointer]
    assert api.get("/labels")["items"] == []


def test_an_order_has_at_most_500_labels(api: Api) -> None:
    furnish(api)
    api.post(
        "/deliveries",
        {
            "supplier": "Finca El Roble",
            "received_at": "2026-03-02T08:00:00Z",
            "lots": [
                {"code": lot, "name": "Guji", "origin": "ET",
                 "sacks": [{"count": count, "net_kg": 30}]}
                for lot, count in (("GL-500", 500), ("GL-501", 501), ("GL-250", 250))
            ],
        },
    )  # fmt: skip

    whole = api.post("/labels", {"lot": "GL-500", "size": "small", "sheet": "a4"})
    over = api.refuse("/labels", {"lot": "GL-501"}, 422, "invalid")
    copies = api.refuse("/labels", {"lot": "GL-250", "copies": 3}, 422, "invalid")

    assert over["errors"][0]["pointer"] == "#/lot"
    assert copies["errors"][0]["pointer"] == "#/copies"
    assert "750 labels" in copies["detail"]
    assert len(fetch(api, whole)) == 24  # 500 labels, 21 to a sheet


def test_an_order_that_was_never_made_is_not_there(api: Api) -> None:
    problem(api.send("GET", "/labels/1"), 404, "not-found")
    problem(api.send("GET", "/labels/1.pdf"), 404, "not-found")
    problem(api.send("GET", "/labels/x.pdf"), 422, "invalid")


def test_buyers_do_not_print_labels(api_as: Callable[..., Api]) -> None:
    api_as("buyer").refuse("/labels", {"codes": ["A-01"]}, 403, "forbidden")


@pytest.mark.parametrize(("sheet", "size", "page", "places"), [
    ("a4", "large", (210.0, 297.0), 8),
    ("a4", "small", (210.0, 297.0), 21),
    ("letter", "large", (215.9, 279.4), 6),
    ("letter", "small", (215.9, 279.4), 10),
])  # fmt: skip
def test_a_started_sheet_is_gone_on_with(
    api: Api, sheet: str, size: str, page: tuple[float, float], places: int
) -> None:
    furnish(api)
    codes = sack_codes(receive(api, *[60] * (places + 1)))

    whole = fetch(api, order(api, *codes, sheet=sheet, size=size))
    rest = fetch(api, order(api, *codes[:3], sheet=sheet, size=size, start_at=places - 1))

    assert len(whole) == len(rest) == 2
    assert whole.size_mm() == page
    first = whole.scan(150)
    assert [seen.text for seen in first] == codes[:places]
    assert [seen.text for seen in whole.scan(150, 1)] == codes[places:]
    assert [seen.text for seen in rest.scan(150)] == codes[:2]
    assert [seen.text for seen in rest.scan(150, 1)] == codes[2:3]
    for moved, before in zip(rest.scan(150), first[-2:], strict=True):
        assert (moved.x, moved.y) == pytest.approx((before.x, before.y), abs=0.5)

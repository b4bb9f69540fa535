"""Tasks booked at the pages: the same acts, rules and journal as through the API."""

import re
from collections import Counter
from collections.abc import Callable

import httpx

from app.web.rendering import TEMPLATES
from tests.api import Api
from tests.makers import furnish, receive, roast, sack_codes
from tests.web.conftest import Visitor, hidden_fields, words


def test_a_move_is_booked_once_however_often_its_form_is_sent(
    api: Api, visitor_as: Callable[..., Visitor], book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60))
    noor = visitor_as("warehouse")
    form = hidden_fields(noor.get("/move").text) | {"to": "b-02", "sacks": "\r\n".join(sacks)}

    first, again = noor.post("/move", form), noor.post("/move", form)
    told = words(noor.get(again.headers["location"]))
    other = noor.post("/move", form | {"to": "A-01"})

    assert (first.status_code, again.status_code, other.status_code) == (303, 303, 422)
    assert "2 sacks now stand at B-02." in told
    assert "That key was used for another request" in words(other)
    (moves,) = [line for line in api.get("/entries")["items"] if line["kind"] == "move"]
    assert moves["who"] == "warehouse"
    assert hidden_fields(other.text)["_key"] != form["_key"]
    book_is_sound()


def test_a_refusal_stands_beside_its_field_and_nothing_typed_is_lost(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]
    noor = visitor_as("warehouse")

    nowhere = noor.fill("/move", to="Z-99", sacks=f"{sack} {sack}")
    unknown = noor.fill("/move", to="A-01", sacks="S-404")
    missing = noor.fill("/move", to="", sacks=sack)

    assert nowhere.status_code == 422
    assert f"Named twice: {sack}." in words(nowhere)
    assert 'value="Z-99"' in nowhere.text
    assert f">{sack} {sack}</textarea>" in nowhere.text
    assert (unknown.status_code, missing.status_code) == (404, 422)
    assert "S-404" in words(unknown)
    assert "This is needed." in words(missing)
    assert 'aria-invalid="true"' in missing.text


def test_a_reading_takes_a_decimal_comma_or_point_and_refuses_what_could_be_two_numbers(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    lot = receive(api, 60, lot="GL-7")
    noor = visitor_as("warehouse")

    told = [
        noor.get(noor.fill("/moisture", subject=lot["code"], value=value).headers["location"])
        for value in ("11.4", "10,9", "13")
    ]
    kept = noor.fill("/moisture", subject="GL-7", value="11", instrument="meter 7")
    two = noor.fill("/moisture", subject="GL-7", value="1,234")
    none = noor.fill("/moisture", subject="GL-7", value="damp")

    assert "GL-7: 11.4 % moisture. In the range." in words(told[0])
    assert 'value="meter 7"' in noor.get(kept.headers["location"]).text
    assert "Outside 8 to 12.5 %." in words(told[2])
    booked = [each["value"] for each in api.get("/readings?subject=GL-7")["items"]]
    assert [str(each) for each in booked] == ["11.4", "10.9", "13.0", "11.0"]
    assert (two.status_code, none.status_code) == (422, 422)
    assert "can be read in two ways" in words(two)
    assert "such as 11.4" in words(none)


def test_a_script_that_sends_a_form_is_answered_as_one(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]
    noor = visitor_as("warehouse")
    form = hidden_fields(noor.get("/move").text)

    booked = noor.post("/move", form | {"to": "A-01", "sacks": sack}, Accept="application/json")
    refused = noor.post(
        "/move", form | {"_key": "another", "to": "Z-9", "sacks": sack}, Accept="application/json"
    )

    assert booked.json() == {"said": "1 sack now stands at A-01.", "to": "/move"}
    assert refused.headers["content-type"] == "application/problem+json"
    assert refused.json()["type"] == "/problems/unknown-reference"


def test_a_scan_says_what_it_was_and_what_was_wanted(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    lot = receive(api, 60, lot="GL-7")
    noor = visitor_as("warehouse")

    def scan(text: str, wanted: str) -> tuple[bool, str]:
        told = noor.get(f"/scanned?text={text}&wanted={wanted}", Accept="application/json").json()
        return told["accepted"], told["says"]

    assert scan("gl-7", "lot%20sack") == (True, "lot Sidama Washed")
    assert scan("B-02", "sack") == (False, "That is place B-02. Wanted: sack.")
    assert scan(sack_codes(lot)[0], "location") == (
        False, f"That is sack {sack_codes(lot)[0]}. Wanted: place.",
    )  # fmt: skip
    accepted, says = scan("NO-SUCH", "lot%20sack")
    assert not accepted
    assert says == "Nothing here carries the code NO-SUCH. Wanted: lot or sack."


def test_anything_is_found_by_its_code_and_a_unit_tells_its_life(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    lot = receive(api, *[60] * 20, lot="GL-7")
    sack = sack_codes(lot)[0]
    api.post("/moves", {"sacks": [sack], "to": "A-01"})
    made = roast(api, {sack: 30}, 25)
    hold = api.post("/holds", {"units": ["GL-7"], "reason": "smells of petrol"})
    api.post(f"/holds/{hold['id']}/release", {"reason": "was the lorry"})
    api.post("/readings", {"subject": sack, "kind": "moisture", "value": 11})
    quill = visitor_as("quality")

    found = quill.get(f"/find?text={sack.lower()}")
    statements()
    page = quill.get(found.headers["location"])
    of_sack = statements()
    whole = quill.get("/u/gl-7")
    of_lot = statements()
    place = quill.get(quill.get("/find?text=A-01").headers["location"])

    told = words(page)
    assert found.headers["location"] == f"/u/{sack}"
    for said in (
        "sack: Sidama Washed", "30 kg", "Put at A-01.", "Stopped: smells of petrol",
        "Released: was the lorry", "Read: moisture 11", made["code"], "GL-7",
    ):  # fmt: skip
        assert said.replace(" kg", "\N{NARROW NO-BREAK SPACE}kg") in page.text or said in told, said
    assert "and 8 more" in words(whole)
    assert (of_sack, of_lot) == (4, 4)
    assert sack in words(place)
    assert quill.get("/find?text=NO-SUCH").status_code == 200
    assert quill.get("/u/NO-SUCH").status_code == 404


def test_the_start_page_names_what_waits_for_whom_in_few_statements(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    lot = receive(api, 60, lot="GL-7")
    aside = roast(api, {sack_codes(lot)[0]: 30}, 25, profile_hit=False)
    api.post("/holds", {"units": ["GL-7"], "reason": "to be looked at"})
    noor, quill = visitor_as("warehouse"), visitor_as("quality")

    statements()
    for_noor, of_noor = words(noor.get("/")), statements()
    for_quill, of_quill = words(quill.get("/")), statements()

    assert "lot to be read for moisture GL-7" in for_noor
    assert "hold" not in for_noor
    assert f"1 roast set aside, to be tasted {aside['code']}" in for_quill
    assert "1 open hold" in for_quill
    assert "recall drill due" in for_quill
    assert max(of_noor, of_quill) <= 12


def test_no_part_of_the_forms_takes_the_name_of_another() -> None:
    parts = (TEMPLATES / "fields.html").read_text(encoding="utf-8")

    found = Counter(re.findall(r"{% macro (\w+)", parts))

    assert [name for name, times in found.items() if times > 1] == []


def test_whoever_has_few_tasks_sees_them_all_and_an_administrator_those_of_what_waits(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-7")

    def open_rooms(page: httpx.Response) -> set[str]:
        return set(re.findall(r"<details open>\s*<summary><h2>([^<]+)</h2>", page.text))

    noor, ada = visitor_as("warehouse"), visitor_as("admin")

    of_noor = noor.get("/").text.partition('<nav id="tasks"')[2]
    assert of_noor.count("<details open>") == of_noor.count("<summary>") > 3
    assert open_rooms(ada.get("/")) == {"Green store", "Quality"}  # moisture, and a drill
    assert open_rooms(ada.get("/people")) == {"Office"}
    assert ada.get("/").text.count('href="/people"') == 1


def test_fields_that_no_form_has_are_refused_and_never_a_failure(
    visitor_as: Callable[..., Visitor],
) -> None:
    ada = visitor_as("admin")
    digits = "1" * 5000

    opened = [
        ada.get(path).status_code
        for path in (
            "/orders/new?lines.x.product=1", f"/orders/new?lines.{digits}.product=1",
            "/orders/new?lines.999999999.product=1", "/receive?lots.x.name=1",
            f"/drills/new?pick={digits}", f"/receive?lots.0.sacks.0.count={digits}",
        )
    ]  # fmt: skip
    sent = [
        ada.fill(page, **fields).status_code
        for page, fields in (
            ("/orders/new", {"lines.x.product": "1"}),
            ("/orders/new", {f"lines.{digits[:150]}.bags": "1"}),
            ("/orders/new", {"lines": "x", "lines.1.bags": "1"}),
            ("/move", {"to": "A-01", "to.x": "B", "sacks": "C"}),
            ("/move", {f"lines.{digits}.bags": "1"}),
            ("/move", {".".join("a" * 90): "1"}),
        )
    ]

    assert opened == [200] * 6
    assert sent == [422, 422, 400, 400, 400, 400]

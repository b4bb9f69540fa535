"""The green store at its pages: receiving, putting away, finding, counting, labels, readings."""

import re
from collections.abc import Callable
from html import unescape

from tests.api import Api
from tests.makers import furnish, receive, sack_codes
from tests.web.conftest import Visitor, hidden_fields, words

PAPERS = {
    "supplier": "Finca El Roble", "reference": "DN-7", "lots.0.name": "Sidama Washed",
    "lots.0.origin": "ET", "lots.0.code": "GL-7",
}  # fmt: skip


def _fields(page: str) -> dict[str, str]:
    """Read what stands in the fields of a form, as a browser would send it."""
    content = page.partition("<main")[2].partition("</main>")[0]
    content = re.sub(r"<template>.*?</template>", "", content, flags=re.DOTALL)
    found = {}
    for tag in re.findall(r"<input [^>]*>", content):
        name, value = re.search(r' name="([^"]+)"', tag), re.search(r' value="([^"]*)"', tag)
        if name and 'type="checkbox"' not in tag and 'type="radio"' not in tag:
            found[name[1]] = unescape(value[1]) if value else ""
    for name, inner in re.findall(
        r'<select [^>]*name="([^"]+)"[^>]*>(.*?)</select>', content, re.DOTALL
    ):
        chosen = re.search(r'value="([^"]*)" selected', inner)
        found[name] = chosen[1] if chosen else ""
    for name, text in re.findall(
        r'<textarea[^>]*name="([^"]+)"[^>]*>(.*?)</textarea>', content, re.DOTALL
    ):
        found[name] = unescape(text)
    return found


def test_a_delivery_is_written_down_line_by_line_without_scripts_and_booked_once(
    api: Api,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    api.post(
        "/contracts",
        {"reference": "PC-1", "supplier": "Finca El Roble", "quantity_kg": 3000, "origin": "ET",
         "weight_basis": "shipped", "expected_on": "2026-03-01"},
    )  # fmt: skip
    noor = visitor_as("warehouse")
    assert 'href="/receive?contract=PC-1"' in noor.get("/").text
    statements()
    opened = noor.get("/receive?contract=PC-1")
    assert statements() <= 8
    form = hidden_fields(opened.text) | PAPERS | {"contract": "PC-1", "lots.0.advised_kg": "2600"}
    form["received_at"] = "2026-03-02T08:00"
    assert 'value="Finca El Roble"' in opened.text
    assert '<option value="ET" selected>' in opened.text

    def press(said: dict[str, str]) -> str:
        answer = noor.post("/receive", typed | said)
        typed.update(_fields(answer.text))
        return words(answer)

    typed = dict(form)
    assert "There is no line yet" in press({"_do": "again.0"})
    assert "Sacks: 1. Together: 60.2 kg." in press({"_do": "add.0", "_kg.0": "60.2"})
    told = press({"_do": "again.0", "_count.0": "39"})
    assert "Sacks: 40. Together: 2,408 kg. 192 kg less than on the papers." in told
    assert "Of the contract 592 kg are still to come after that." in told
    assert "A number is wanted here" in press({"_do": "add.0", "_kg.0": "heavy"})
    press({"_do": "add.0", "_kg.0": "58", "_condition.0": "torn", "_place.0": "a-01"})
    told = press({"_do": "paste.0", "_weights.0": "59.5\n59.5;60\n2 x 30"})
    assert "Sacks: 46. Together: 2,705 kg. 105 kg more than on the papers." in told
    assert (typed["lots.0.sacks.0.count"], typed["lots.0.sacks.1.condition"]) == ("40", "torn")

    typed["_do"] = ""
    first, again = noor.post("/receive", typed), noor.post("/receive", typed)

    assert first.status_code == 303, words(first)
    assert (first.status_code, first.headers["location"]) == (303, again.headers["location"])
    (delivery,) = api.get("/deliveries")["items"]
    lot = api.get("/lots/GL-7")
    assert (lot["sack_count"], str(lot["received_kg"])) == (46, "2705.0")
    torn = [each for each in api.get("/sacks?limit=100")["items"] if each["condition"] == "torn"]
    assert [(str(each["net_kg"]), each["location"]) for each in torn] == [("58.0", "A-01")]
    assert delivery["code"] in first.headers["location"]
    book_is_sound()


def test_the_work_on_an_arrival_is_led_from_step_to_step(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    receive(api, 60, 60, 60, lot="GL-7", invoiced_sacks=3)
    receive(api, 60, lot="GL-8")
    noor = visitor_as("warehouse")
    code = api.get("/deliveries")["items"][0]["code"]
    statements()
    page = noor.get(noor.get(f"/find?text={code}").headers["location"])
    assert statements() <= 20
    assert "Count the sacks" in words(page)
    assert 'href="/labels?lot=GL-7"' in page.text
    assert 'href="/put-away?of=GL-7"' in page.text
    refused = noor.fill(f"/deliveries/{code}")

    opened = noor.get("/arrivals/GL-7/count")
    off = noor.fill("/arrivals/GL-7/count", sound="2", missing="0")
    counted = noor.fill("/arrivals/GL-7/count", sound="2", torn="1")
    weighed = noor.fill("/arrivals/GL-7/weight")
    half = noor.fill("/arrivals/GL-7/inspection", mould="true")
    signs = ("musty_smell", "foreign_smell", "live_insects", "wet_marks", "husks_or_pods")
    looked = noor.fill("/arrivals/GL-7/inspection", mould="true", **dict.fromkeys(signs, "false"))
    kept_apart = words(noor.get(looked.headers["location"]))
    wrong = noor.fill("/arrivals/GL-7/exception", kind="torn", sacks="1", location="B-02")
    closed = noor.fill(f"/deliveries/{code}", note="all there")

    assert (refused.status_code, half.status_code) == (409, 422)
    assert _fields(opened.text)["sound"] == "3"
    assert off.headers["location"] == "/arrivals/GL-7"
    assert (counted.status_code, weighed.status_code, wrong.status_code) == (303, 303, 303)
    assert closed.headers["location"] == f"/deliveries/{code}"
    assert "keep it apart" in kept_apart
    told = words(noor.get("/arrivals/GL-7"))
    assert "torn : 1, B-02" in told
    assert "On hold: it must not be used" in told
    assert "The receipt was closed by warehouse." in words(noor.get(f"/deliveries/{code}"))
    assert visitor_as("buyer").get("/arrivals/GL-7/count").status_code == 403


def test_labels_are_ordered_read_as_a_pdf_and_printed_again(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7"))
    noor = visitor_as("warehouse")

    first = noor.fill("/labels", lot="GL-7", size="large")
    order = noor.get(first.headers["location"])
    again = noor.fill("/labels", codes=f"{sacks[0]} A-01", size="small", sheet="a4", start_at="4")
    statements()
    shown = noor.get(again.headers["location"])
    assert statements() <= 5
    pdf = noor.get(f"{again.headers['location']}.pdf")
    neither = noor.fill("/labels", size="large")

    assert "2 labels" in words(noor.get("/labels"))
    assert all(code in words(order) for code in sacks)
    assert "Printed before 1" in words(shown)
    assert (pdf.headers["content-type"], pdf.content[:5]) == ("application/pdf", b"%PDF-")
    assert (neither.status_code, visitor_as("buyer").get("/labels").status_code) == (422, 403)


def test_what_came_waits_until_it_is_put_away_and_the_rest_of_a_lot_shows_where(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, 60, lot="GL-7"))
    api.post("/moves", {"sacks": sacks[:1], "to": "B-02"})
    receive(api, 30, lot="GL-8")
    noor = visitor_as("warehouse")
    assert "3 sacks to be put away GL-8 Sidama Washed, 30" in words(noor.get("/"))

    statements()
    page = noor.get("/put-away?of=gl-7")
    assert statements() <= 6
    told = words(page).replace("\N{NARROW NO-BREAK SPACE}", " ")
    assert "Last used: B-02." in told
    assert "2 sacks, 120 kg, 2 Mar 2026. More of it stands at B-02" in told
    assert f">{sacks[1]}\n{sacks[2]}</textarea>" in page.text
    booked = noor.fill("/put-away", to="b-02", sacks=" ".join(sacks[1:]))
    ready = noor.get(booked.headers["location"])

    assert "2 sacks now stand at B-02." in words(ready)
    assert 'value="B-02"' in ready.text
    assert "GL-7" not in words(ready)
    assert "GL-8" in words(ready)
    assert noor.fill("/put-away", to="Z-9", sacks=sacks[0]).status_code == 422
    assert visitor_as("buyer").get("/put-away").status_code == 403

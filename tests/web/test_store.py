"""The green store at its pages: receiving, putting away, finding, counting, labels, readings."""

import re
from collections.abc import Callable
from decimal import Decimal
from html import unescape

from tests.api import Api
from tests.makers import furnish, receive, roast, sack_codes
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
    assert "There is no line yet" in press({"_ask": "again.0"})
    assert "Sacks: 1. Together: 60.2 kg." in press({"_ask": "add.0", "_kg.0": "60.2"})
    told = press({"_ask": "again.0", "_count.0": "39"})
    assert "Sacks: 40. Together: 2,408 kg. 192 kg less than on the papers." in told
    assert "Of the contract 592 kg are still to come after that." in told
    assert "A number is wanted here" in press({"_ask": "add.0", "_kg.0": "heavy"})
    press({"_ask": "add.0", "_kg.0": "58", "_condition.0": "torn", "_place.0": "a-01"})
    told = press({"_ask": "paste.0", "_weights.0": "59.5\n59.5;60\n2 x 30"})
    assert "Sacks: 46. Together: 2,705 kg. 105 kg more than on the papers." in told
    assert (typed["lots.0.sacks.0.count"], typed["lots.0.sacks.1.condition"]) == ("40", "torn")

    typed["_ask"] = ""
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


def test_a_coffee_is_found_by_whatever_somebody_says_of_it(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7", ico_mark="002/1961/0978"))
    api.post("/moves", {"sacks": sacks[:1], "to": "B-02"})
    receive(api, 30, lot="GL-8", name="Huila", origin="CO")
    api.post("/holds", {"units": sacks[:1], "reason": "smells musty"})
    api.post("/readings", {"subject": "GL-7", "kind": "moisture", "value": 11})
    quill = visitor_as("quality")

    def found(text: str) -> list[str]:
        return re.findall(r'href="/u/(GL-\d)"', quill.get(f"/coffee?text={text}").text)

    assert (found("sidam"), found("ethiopia"), found("co"), found("gl-8")) == (
        ["GL-7"], ["GL-7"], ["GL-8"], ["GL-8"],
    )  # fmt: skip
    assert (found("2/1961/978"), found("roble"), found("")) == (
        ["GL-7"],
        ["GL-8", "GL-7"],
        ["GL-8", "GL-7"],
    )
    assert "No coffee here is called so." in words(quill.get("/coffee?text=100%25_"))
    statements()
    told = words(quill.get("/coffee?text=sidama")).replace("\N{NARROW NO-BREAK SPACE}", " ")
    assert statements() <= 6
    for said in ("There 120 kg", "11 %", "moisture in the range", "60 kg of it on hold",
                 "B-02 1 sack, 60 kg", "at no place 1 sack, 60 kg"):  # fmt: skip
        assert said in told, said


def test_the_store_is_drawn_with_what_stands_where_in_few_statements(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    for code, kind, parent in (
        ("HOUSE", "site", None), ("R1", "rack", "HOUSE"), ("R1-1", "level", "R1"),
        ("R1-2", "level", "R1"),
    ):  # fmt: skip
        api.post("/locations", {"code": code, "kind": kind, "parent": parent, "capacity_kg": 600})
    sacks = sack_codes(receive(api, *[60] * 7, lot="GL-7"))
    api.post("/moves", {"sacks": sacks[:4], "to": "R1-1"})
    api.post("/moves", {"sacks": sacks[4:6], "to": "R1-2"})
    api.post("/holds", {"units": sacks[4:5], "reason": "smells musty"})
    api.post("/counts", {"location": "R1"})
    noor = visitor_as("warehouse")

    statements()
    page = noor.get("/store")
    of_store = statements()
    place = noor.get("/places/R1")
    of_place = statements()

    told = words(page).replace("\N{NARROW NO-BREAK SPACE}", " ")
    assert told.index("R1-2 2 units, 120 kg, 20 % full") < told.index("R1-1 4 units, 240 kg, 40 %")
    assert "R1 rack, 360 kg, 60 % full" in told
    assert "? moisture not known 1 on hold" in told.replace("✕", "")
    assert 'href="/places/R1-2"' in page.text
    here = words(place).replace("\N{NARROW NO-BREAK SPACE}", " ")
    for said in ("Full 60 %", "Room for 240 kg", "It is being counted. Count 1", "R1-1 240 kg"):
        assert said in here, here
    assert 'href="/counts?location=R1"' in place.text
    assert (of_store <= 6, of_place <= 10) == (True, True), (of_store, of_place)


def test_readings_of_any_kind_are_taken_watched_and_seen_as_a_series(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-7")
    for day, value in ((3, "10.5"), (9, "11.4"), (20, "12.1")):
        taken_at = f"2026-03-{day:02d}T08:00:00Z"
        api.post(
            "/readings",
            {"subject": "GL-7", "kind": "moisture", "value": Decimal(value), "taken_at": taken_at},
        )
    noor = visitor_as("warehouse")

    high = noor.fill("/measure", subject="GL-7", kind="water_activity", value="0,72")
    told = words(noor.get(high.headers["location"]))
    damp = noor.fill("/measure", subject="A-01", kind="relative_humidity", value="78")
    wrong = noor.fill("/measure", subject="GL-7", kind="moisture", value="")
    statements()
    series = noor.get("/readings/gl-7")
    assert statements() <= 16
    watch = words(noor.get("/watch"))

    assert "GL-7: water activity 0.72." in told
    assert "a competent person decides" in told
    assert (damp.status_code, wrong.status_code) == (303, 422)
    assert series.text.count("<circle") == 3
    assert "water activity out of range" in words(series)
    assert words(series).index("0.72") < words(series).index("12.1 %")
    assert "Moisture in %; by which method was not noted. The tinted field" in words(series)
    in_german = words(noor.get("/readings/GL-7", accept_language="de"))
    assert "nach welchem Verfahren, wurde nicht vermerkt" in in_german
    assert "GL-7 Sidama Washed 60 kg, 12.1 %" in watch.replace("\N{NARROW NO-BREAK SPACE}", " ")
    assert "A-01 ▲ too damp" in watch
    assert "Value" in words(noor.get("/readings/A-01"))
    assert noor.get("/readings/NO-SUCH").status_code == 404
    assert visitor_as("buyer").get("/measure").status_code == 403


def test_a_rack_is_counted_blind_and_somebody_else_decides(
    api: Api,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, 60, 60, lot="GL-7"))
    api.post("/moves", {"sacks": sacks, "to": "A-01"})
    roast(api, {sacks[3]: 40}, 33)
    noor, quill = visitor_as("warehouse"), visitor_as("quality")

    sheet = noor.fill("/counts", location="a-01").headers["location"]
    statements()
    blind = words(noor.get(sheet))
    assert statements() <= 7
    unknown = noor.fill(sheet, _whole="S-404")
    more = noor.fill(sheet, **{"_whole": sacks[0], "_ask": "rows", "_part.9": sacks[3]})
    taken = noor.fill(
        sheet,
        **{"_whole": "\n".join(sacks[:2]), "_part.0": sacks[3], "_part_kg.0": "19,5",
           "_gone": sacks[2]},
    )  # fmt: skip
    told = words(noor.get(taken.headers["location"]))
    ended = noor.post(f"{sheet}/close", hidden_fields(noor.get(sheet).text))
    statements()
    waiting = words(quill.get("/"))
    own = noor.post(f"{sheet}/decide", hidden_fields(noor.get("/move").text))
    mute = quill.fill_at(sheet, f"{sheet}/decide", _decision="reject")
    found = words(quill.get(sheet)).replace("\N{NARROW NO-BREAK SPACE}", " ")
    approved = quill.fill_at(sheet, f"{sheet}/decide", reason="one sack is gone")

    assert re.search(r"\d\s*kg", blind.partition("Heavy")[0]) is None
    assert (unknown.status_code, "Not here: S-404." in words(unknown)) == (422, True)
    assert f">{sacks[0]}</textarea>" in more.text
    assert 'name="_part.10"' in more.text
    assert "4 sacks are not taken down yet: end all the same" in blind
    assert "4 sacks taken down." in told
    assert "end all the same" not in told
    assert ended.headers["location"] == sheet
    assert "1 count to be decided on A-01 warehouse" in waiting
    assert (own.status_code, mute.status_code) == (403, 422)
    assert "In the book 200 kg Counted 139.5 kg Difference -60.5 kg" in found
    assert f"{sacks[2]} not found GL-7 60 kg 0 kg -60 kg" in found
    assert approved.status_code == 303
    assert str(api.get("/lots/GL-7")["on_hand_kg"]) == "139.5"
    book_is_sound()


def test_what_is_planned_is_brought_to_the_drum_and_confirmed_by_scans(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    api.post("/locations", {"code": "DRUM-SIDE", "kind": "roaster_side"})
    sacks = sack_codes(receive(api, 60, 60, 60, lot="GL-7"))
    api.post("/moves", {"sacks": sacks, "to": "A-01"})
    api.post("/styles", {"name": "House", "machine": "DRUM-75", "batch_kg": 45})
    api.post(
        "/batches",
        {"on": "2026-03-02", "style": "House", "count": 2, "green": [{"lot": "GL-7", "kg": 45}]},
    )
    noor = visitor_as("warehouse")

    statements()
    page = words(noor.get("/bring")).replace("\N{NARROW NO-BREAK SPACE}", " ")
    assert statements() <= 10
    mine = {"to": "drum-side", "sacks": " ".join(sacks[:2]), "_key": "brought"}
    token = {"_token": hidden_fields(noor.get("/bring").text)["_token"]}
    booked = noor.post("/bring", token | mine)
    brought = words(noor.get(booked.headers["location"]))
    listed = noor.fill_at("/bring", "/bring/list", lots="GL-7", kg="90")

    assert "GL-7 90 kg 2 \N{MULTIPLICATION SIGN} House (DRUM-75)" in page
    assert f"{sacks[0]} A-01 all, 60 kg {sacks[1]} A-01 30 kg leaves 30 kg" in page
    assert "2 sacks now stand at DRUM-SIDE." in brought
    assert brought.count("is there") == 2
    assert listed.status_code == 303
    assert api.get("/pick-lists/1")["as_suggested"]
    assert visitor_as("buyer").get("/bring").status_code == 403


def test_instruments_that_are_due_wait_and_a_calibration_is_put_on_record(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    quill = visitor_as("quality")

    entered = quill.fill(
        "/instruments", code="METER-1", name="Meter", kinds=["moisture", "density"],
        calibration_every_days="365",
    )  # fmt: skip
    waiting = words(quill.get("/"))
    refused = quill.fill("/instruments/METER-1", calibrated_on="2026-11-01", result="passed")
    passed = quill.fill(
        "/instruments/meter-1", calibrated_on="2026-11-01", against="oven", result="passed",
        offset="-0,1",
    )  # fmt: skip
    told = words(quill.get(passed.headers["location"]))

    assert entered.headers["location"] == "/instruments/METER-1"
    assert "1 calibration due METER-1 Meter" in waiting
    assert "This is needed." in words(refused)
    assert "METER-1: calibrated." in told
    assert "1 Nov 2026: passed, oven. Good until 1 Nov 2027" in told
    assert "calibration due" not in words(quill.get("/"))
    assert visitor_as("warehouse").get("/instruments").status_code == 200

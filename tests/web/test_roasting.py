"""The roasters' pages: today's batches, a roast from sack to verdict, tasting, the blend tray."""

import re
from collections.abc import Callable
from typing import Any

import pytest

from app.shared.times import now
from tests.api import Api, kg
from tests.makers import furnish, receive, roast, sack_codes
from tests.web.conftest import Visitor, hidden_fields, words

DARK = {
    "name": "Dark", "loss_pct": 16, "loss_tolerance": 1, "colour_target": 55, "colour_tolerance": 2,
    "colour_scale": "Agtron", "colour_form": "ground", "machine": "DRUM-75", "batch_kg": 60,
}  # fmt: skip


@pytest.fixture
def sacks(api: Api) -> list[str]:
    """The sacks of GL-7, of which two charges of 60 kg and one of 15 kg are planned for today."""
    furnish(api)
    lot = receive(api, 60, 60, 60, lot="GL-7")
    codes = sack_codes(lot)
    api.post("/moves", {"sacks": codes, "to": "A-01"})
    green = {"share_pct": 100, "lots": ["GL-7"]}
    api.post("/styles", DARK | {"green": [green]})
    today = str(now().date())
    api.post("/batches", {"on": today, "style": "Dark", "count": 2})
    api.post(
        "/batches", {"on": today, "style": "Dark", "machine": "DRUM-15", "charge_kg": kg("10")}
    )
    return codes


def test_the_day_says_what_is_next_on_which_machine_and_which_sacks_to_fetch(
    api: Api, sacks: list[str], visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    rana = visitor_as("roaster")
    statements()
    told, of_day = words(rana.get("/roasting")), statements()
    start = words(rana.get("/"))

    assert told.index("DRUM-15") < told.index("DRUM-75")
    assert f"Batch 1 of {now().day}" in told
    assert f"{sacks[0]} 60 kg, A-01" in told
    assert f"{sacks[1]} 60 kg, A-01" in told
    assert f"{sacks[2]} 10 kg, A-01" in told
    assert "3 batches to be roasted" in start
    assert of_day <= 8

    receive(api, *[60] * 20, lot="GL-8")
    api.post("/batches", {
        "on": str(now().date()), "style": "Dark", "count": 20,
        "green": [{"lot": "GL-8", "kg": 60}],
    })  # fmt: skip
    statements()
    rana.get("/roasting")
    assert statements() == of_day


def test_a_planned_batch_is_roasted_by_typing_weights_and_colour_alone(
    api: Api,
    sacks: list[str],
    visitor_as: Callable[..., Visitor],
    book_is_sound: Callable[[], None],
) -> None:
    rana = visitor_as("roaster")
    page = rana.get("/roast?batch=1")
    assert 'value="DRUM-75" selected' in page.text
    assert f'name="draws.0.sack" type="text" value="{sacks[0]}"' in page.text.replace("\n", "")
    filled = hidden_fields(page.text) | {
        "batch": "1", "machine": "DRUM-75", "draws.0.sack": sacks[0], "draws.0.emptied": "true",
    }  # fmt: skip

    weighed = {"draws.0.kg": "59,8", "end_kg": "50.4", "profile_hit": "true"}
    booked = rana.post("/roast", filled | weighed | {"colour_reading.values": "54 55"})
    again = rana.post("/roast", filled | weighed | {"colour_reading.values": "54 55"})
    verdict = rana.get(booked.headers["location"])

    told = words(verdict)
    code = booked.headers["location"].rpartition("/")[2]
    made = api.get(f"/roasts/{code}")
    assert booked.headers["location"] == again.headers["location"] == f"/roasted/{code}"
    assert (made["batch"], made["style"], str(made["charge_kg"])) == (1, "Dark", "59.8")
    assert made["colours"][0]["scale"] == "Agtron"
    assert made["colours"][0]["form"] == "ground"
    assert "it is empty now" in words(page)
    (moved,) = api.get(f"/adjustments?unit={sacks[0]}")["items"]
    assert (str(moved["kg"]), moved["reason"]) == ("-0.2", "draw_difference")
    assert "Passed" in told
    assert "End weight met: loss 15.72 % against 15.0 to 17.0 %" in told
    assert "Colour met: colour 54.5 ground on Agtron (mean of 54, 55) against 55.0 ± 2.0" in told
    assert f"{code} Dark" in words(rana.get("/roasting"))
    book_is_sound()


def test_a_roast_of_part_sacks_that_misses_is_set_aside_until_it_is_tasted(
    api: Api,
    sacks: list[str],
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    rana, quill = visitor_as("roaster"), visitor_as("quality")
    booked = rana.fill(
        "/roast", machine="DRUM-15", style="Dark", draws__0__sack=sacks[0], draws__0__kg="5",
        draws__1__sack=sacks[1], draws__1__kg="5", end_kg="8.8", profile_hit="true",
    )  # fmt: skip
    code = booked.headers["location"].rpartition("/")[2]
    told = words(rana.get(booked.headers["location"]))
    assert "Set aside" in told
    assert "Nothing is blended or packed of it until quality has tasted it." in told
    assert "End weight missed: loss 12.00 % against 15.0 to 17.0 %" in told
    assert "Colour missed: no colour reading" in told
    assert "Profile met: profile hit" in told
    assert rana.get("/cup").status_code == 403

    assert f"/cup/{code}" in quill.get("/").text
    assert f"/roasted/{code}" in rana.get("/").text
    statements()
    listed, of_list = words(quill.get("/cup")), statements()
    assert f"{code} Dark" in listed
    assert "Colour: no colour reading" in listed
    assert of_list <= 2
    unsaid = quill.fill(f"/cup/{code}", score="81.5", verdict="blend_in")
    assert "Blend_in needs a reason." in words(unsaid)
    assert 'id="f-reason-error"' in unsaid.text
    assert 'value="81.5"' in unsaid.text
    cupped = quill.fill(
        f"/cup/{code}", score="81,5", notes="cocoa, a little flat", verdict="blend_in",
        at_most_pct="20", reason="clean, a touch light", cuppers__0="Quill Hartog",
        cuppers__1="Ada",
    )  # fmt: skip
    assert "for blends, up to a share. At most 20 % of a blend." in words(quill.get("/cup"))
    (tasting,) = api.get(f"/roasts/{code}/cuppings")["items"]
    assert cupped.status_code == 303
    assert tasting["cuppers"] == ["Quill Hartog", "Ada"]
    assert str(tasting["score"]) == "81.5"
    assert "Nothing is set aside." in words(quill.get("/cup"))
    book_is_sound()


def test_a_refused_roast_keeps_all_that_was_typed_and_one_more_row_books_nothing(
    api: Api, sacks: list[str], visitor_as: Callable[..., Visitor]
) -> None:
    rana = visitor_as("roaster")
    typed = {
        "machine": "DRUM-75", "draws__0__sack": sacks[0], "draws__0__kg": "60", "end_kg": "5,4",
        "colour_reading__values": "55",
    }  # fmt: skip

    slip = rana.fill("/roast", **typed)
    more = rana.fill("/roast", **typed, _ask="more.draws")

    assert slip.status_code == 422
    assert "a loss of 91.00 %" in words(slip)
    assert f'value="{sacks[0]}"' in slip.text
    assert 'value="5,4"' in slip.text
    assert more.status_code == 200
    assert 'name="draws.1.sack"' in more.text
    assert 'value="5,4"' in more.text
    assert api.get("/roasts")["items"] == []


def test_a_roast_is_corrected_with_what_was_said_of_it_or_voided_with_its_impact_shown(
    api: Api,
    sacks: list[str],
    visitor_as: Callable[..., Visitor],
    book_is_sound: Callable[[], None],
) -> None:
    rana = visitor_as("roaster")
    made = roast(api, {sacks[0]: kg("30.5")}, 25, style="House")
    blended = api.post("/blends", {"parts": [{"unit": made["code"], "kg": 10}]})

    impact = rana.get(f"/void/{made['code']}")
    assert f"{blended['code']} blend" in words(impact)
    without = rana.post(
        f"/void/{made['code']}",
        {k: v for k, v in hidden_fields(impact.text).items() if k != "with"} | {"reason": "slip"},
    )
    assert without.status_code == 409
    gone = rana.fill(f"/void/{made['code']}", reason="the wrong drum")
    assert "2 units are voided" in words(rana.get(gone.headers["location"]))

    second = roast(api, {sacks[1]: kg("30.5")}, 25)
    page = rana.get(f"/roast?corrects={second['code']}")
    fields = _typed(page.text)
    assert fields["draws.0.kg"] == "30.5"
    assert fields["colour_target"] == "60"
    corrected = rana.post(
        "/roast",
        fields | {"end_kg": "25,5", "correction_reason": "misread", "profile_hit": "true"},
    )
    new = corrected.headers["location"].rpartition("/")[2]
    assert str(api.get(f"/roasts/{new}")["end_kg"]) == "25.5"
    assert api.get(f"/roasts/{second['code']}")["voided"]
    book_is_sound()


def _typed(page: str) -> dict[str, Any]:
    """Read what stands in the fields of the form of a page."""
    page = page.partition('<form class="task"')[2]
    fields: dict[str, Any] = dict(hidden_fields(f"<main{page}"))
    for tag in re.findall(r"<input[^>]+>", page):
        name, value = re.search(r'name="([^"]+)"', tag), re.search(r'value="([^"]*)"', tag)
        kind = re.search(r'type="([^"]+)"', tag)
        if name and value and kind and kind[1] in {"text", "datetime-local"}:
            fields[name[1]] = value[1]
    for name, body in re.findall(
        r'<select[^>]+name="([^"]+)"[^>]*>(.*?)</select>', page, re.DOTALL
    ):
        chosen = re.search(r'value="([^"]*)" selected', body)
        fields[name] = chosen[1] if chosen else ""
    return fields


def test_a_recipe_is_shared_out_of_the_oldest_and_its_shares_are_shown_before_booking(
    api: Api,
    sacks: list[str],
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    api.post("/locations", {"code": "SILO-1", "kind": "silo"})
    api.post("/recipes", {"name": "House", "components": [
        {"name": "Dark", "share_pct": 60}, {"name": "Light", "share_pct": 40},
    ], "tolerance": 1})  # fmt: skip
    free = {"colour_target": None, "loss_range_pct": None, "colour": None}
    dark = roast(api, {sacks[0]: 30}, kg("25.2"), style="Dark", to="SILO-1", **free,
                 colour_reading={"scale": "Agtron", "form": "ground", "values": [55]})  # fmt: skip
    light = roast(api, {sacks[1]: 30}, 25, style="Light")
    rana = visitor_as("roaster")

    statements()
    tray = rana.get("/blend?recipe=House&whole=20")
    assert statements() <= 6
    fields = _typed(tray.text)
    asked = {"recipe": "House", "_whole": "20", "_ask": "share"}
    pressed = rana.post("/blend", {"_token": fields["_token"], "parts.4.unit": "R-1"} | asked)
    assert _typed(pressed.text) == fields | {"_key": _typed(pressed.text)["_key"]}
    assert (fields["parts.0.unit"], fields["parts.0.kg"]) == ("SILO-1", "12")
    assert (fields["parts.1.unit"], fields["parts.1.kg"]) == (light["code"], "8")
    looked = rana.post("/blend", fields | {"recipe": "House", "_ask": "look"})
    assert "Not booked yet" in words(looked)
    assert f"{dark['code']} Dark 12 kg, 60 %" in words(looked)
    assert api.get("/blends")["items"] == []

    off = rana.post("/blend", fields | {"recipe": "House", "parts.1.kg": "12"})
    assert off.status_code == 409
    assert "Light 50.0 %, wanted 40.0 ± 1.0" in words(off)
    assert "let quality book it with a reason" in words(off)
    booked = rana.post("/blend", fields | {"recipe": "House", "machine": "TUMBLER"})
    assert booked.status_code == 303
    (made,) = api.get("/blends")["items"]
    assert (made["recipe"], str(made["kg"]), made["machine"]) == ("House", "20.0", "TUMBLER")
    assert f"{dark['code']} 60 %" in words(rana.get("/blend"))
    assert visitor_as("buyer").get("/blend").status_code == 403
    book_is_sound()


def test_cleaning_is_booked_of_a_machine_or_of_an_empty_silo(
    api: Api, sacks: list[str], visitor_as: Callable[..., Visitor]
) -> None:
    api.post("/locations", {"code": "SILO-1", "kind": "silo"})
    roast(api, {sacks[0]: 30}, 25, to="SILO-1")
    rana = visitor_as("roaster")

    machine = rana.fill("/clean", what="drum-75", note="brushed")
    full = rana.fill("/clean", what="SILO-1")
    nothing = rana.fill("/clean", what="NO-SUCH")

    assert machine.status_code == 303
    assert [each["note"] for each in api.get("/machines/DRUM-75/clean-downs")["items"]] == [
        "brushed"
    ]
    assert full.status_code == 409
    assert "empty it first" in words(full)
    assert nothing.status_code == 404


@pytest.mark.usefixtures("sacks")
def test_what_orders_ask_for_is_planned_from_the_page(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    today = str(now().date())
    for batch in (1, 2, 3):
        api.post(f"/batches/{batch}/cancel", {"reason": "another day"})
    api.post("/products", {"sku": "DARK-1", "name": "Dark", "nominal_g": 1000, "style": "Dark"})
    api.post("/orders", {"customer": "Café Nord", "due_on": today,
                         "lines": [{"product": "DARK-1", "bags": 60}]})  # fmt: skip
    rana = visitor_as("roaster")

    needs = words(rana.get("/roasting/needs"))
    planned = rana.fill("/roasting/needs", on=today, to=today)

    assert "2 batches" in needs
    assert "2 batches planned." in words(rana.get(planned.headers["location"]))
    assert len(api.get("/batches?state=planned")["items"]) == 2

"""Traces at the pages: tables, the picture, what shares a box, files."""

import csv
import re
from collections.abc import Callable
from html import unescape

from tests.api import Api
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes
from tests.web.conftest import Visitor, words


def test_a_trace_names_customers_lots_and_stages_and_draws_them(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    api.post("/customers", {"name": "Zum Kran"})
    sidama = sack_codes(receive(api, 60, 60, lot="GL-7", producer="Kochere station"))
    huila = sack_codes(receive(api, 60, lot="GL-8", name="Huila", origin="CO"))
    first = roast(api, {sidama[0]: 30}, 25)["code"]
    other = roast(api, {huila[0]: 30}, 25)["code"]
    mixed = blend(api, {first: 20, other: 20})["code"]
    packed = pack(api, {mixed: 40}, 160)["code"]
    sent = dispatch(api, {packed: 100}, reference="PO-1")["code"]
    dispatch(api, {packed: 20}, customer="Zum Kran")
    quill = visitor_as("quality")

    forward = quill.get("/trace?units=gl-7&direction=forward")
    told = words(forward)
    near = words(quill.get(f"/trace?units={first}&direction=forward&carry_over=true"))
    backward = words(quill.get(f"/trace?units={packed}&direction=backward"))
    both = words(quill.get(f"/trace?units={sidama[0]}%0A{huila[0]}&direction=forward"))
    table = quill.get("/trace/units.csv?units=GL-7&direction=forward")
    drawn = quill.get("/trace/flow.svg?units=GL-7&direction=forward")

    assert "Where GL-7 went" in told
    # Half of the blend is of the lot, so half of the bags' mass is suspect.
    assert f"Café Nord Ida, +49 000 1234 {sent} 100 0 25 kg 12.5 kg" in told
    assert "Zum Kran none on record" in told
    assert "is for the food business to decide with its competent authority" in told
    assert other not in told
    assert other in near.partition("Possible contact Apart")[2]
    assert "no record says that these hold any of it" in near
    assert "GL-7 Sidama Washed Kochere station, Ethiopia 50 %" in backward
    assert "GL-8 Huila Colombia 50 %" in backward
    assert "Finca El Roble, delivery" in backward
    assert "Where 2 units went" in both
    rows = list(csv.DictReader(table.text.splitlines()))
    assert {row["code"] for row in rows} >= {"GL-7", first, mixed, packed, sent}
    assert next(row for row in rows if row["code"] == packed)["suspect_kg"] == "20.0"
    assert 'filename="trace.svg"' in drawn.headers["content-disposition"]
    assert drawn.content.startswith(b"<?xml")
    german = quill.get("/trace/flow.svg?units=GL-7&direction=forward", Accept_Language="de").text
    for said in (
        'xml:lang="de"',
        "verdächtig, anteilig",
        "Bei Kunden",
        "12,5\N{NARROW NO-BREAK SPACE}kg",
    ):
        assert said in german, said
    assert "suspect" not in german
    assert f'href="/u/{mixed}"' in forward.text
    assert visitor_as("buyer").get("/trace?units=GL-7").status_code == 200


def test_many_units_share_a_box_that_leads_to_all_of_them(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, *[60] * 12, lot="GL-7"))
    for sack in sacks[:3]:
        roast(api, {sack: 30}, 25, style="House")
    quill = visitor_as("quality")

    page = quill.get("/trace?units=GL-7&direction=forward")
    boxes = [unescape(href) for href in re.findall(r'href="(/trace/box[^"]+)"', page.text)]
    box = words(quill.get(boxes[0]))

    assert len(boxes) == 1
    assert all(sack in box for sack in sacks)
    assert 'role="group"' in page.text
    assert quill.get(boxes[0].replace("sack", "none")).status_code == 404


def test_what_cannot_be_traced_is_said_beside_what_was_asked(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-7")
    noor = visitor_as("warehouse")

    blank = noor.get("/trace")
    by_place = noor.get("/trace?by=location")
    unknown = noor.get("/trace?units=NO-SUCH&direction=forward")
    nowhere = noor.get("/trace?location=Z-9&direction=forward")
    twice = noor.get("/trace?units=GL-7+gl-7&direction=forward")
    at_place = noor.get("/trace?location=B-02&direction=forward&from=2026-01-01T00:00")

    assert 'name="units"' in blank.text
    assert 'name="location"' in by_place.text
    assert (unknown.status_code, nowhere.status_code, twice.status_code) == (404, 422, 422)
    assert "NO-SUCH" in words(unknown)
    assert 'value="Z-9"' in nowhere.text
    assert "amed twice" in words(twice)
    assert at_place.status_code in {200, 404}

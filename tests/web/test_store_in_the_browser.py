"""The green store in a real browser: every page of it, and its tasks with scanner and keyboard."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from PIL import Image

from tests.api import Api
from tests.makers import furnish, receive, sack_codes
from tests.web.browser import Browser
from tests.web.conftest import PASSWORD

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)

PAGES = {
    "receive": "/receive?contract=PC-1",
    "delivery": "/deliveries/{delivery}",
    "arrival": "/arrivals/GL-7",
    "arrival-count": "/arrivals/GL-7/count",
    "arrival-weight": "/arrivals/GL-7/weight",
    "arrival-inspection": "/arrivals/GL-7/inspection",
    "arrival-exception": "/arrivals/GL-7/exception",
    "samples": "/samples?of=GL-7",
    "take-back": "/void/reading/1?of=GL-7",
    "put-away": "/put-away?of=GL-7",
    "coffee": "/coffee?text=roble",
    "store": "/store",
    "rack": "/places/HOUSE",
    "watch": "/watch",
    "readings": "/readings/GL-7",
    "measure": "/measure?subject=GL-7",
    "counts": "/counts",
    "count-sheet": "/counts/1",
    "count": "/counts/2",
    "bring": "/bring",
    "instruments": "/instruments",
    "instrument": "/instruments/METER-1",
    "labels": "/labels",
    "label-order": "/labels/1",
}


@pytest.fixture
def delivery(api: Api) -> str:
    """A delivery of a store where something stands, waits, is held and is expected."""
    furnish(api)
    api.post(
        "/contracts",
        {"reference": "PC-1", "supplier": "Finca El Roble", "quantity_kg": 3000, "origin": "ET",
         "weight_basis": "shipped", "expected_on": "2026-03-01"},
    )  # fmt: skip
    sacks = sack_codes(receive(api, *[60] * 12, lot="GL-7", advised_kg=730, invoiced_sacks=12))
    api.post("/moves", {"sacks": sacks[:5], "to": "B-02"})
    api.post("/lots/GL-7/arrival-counts", {"sound": 11, "torn": 1})
    api.post("/lots/GL-7/exceptions", {"kind": "torn", "sacks": 1, "disposition": "rebag"})
    api.post("/holds", {"units": [sacks[1]], "reason": "smells musty"})
    _build(api)
    _measure(api)
    _count(api)
    _plan(api)
    api.post("/labels", {"lot": "GL-7", "size": "large"})
    return str(api.get("/deliveries")["items"][0]["code"])


def _build(api: Api) -> None:
    """Enter a house with two racks of levels, and fill some of them."""
    api.post("/locations", {"code": "HOUSE", "kind": "site"})
    for rack in ("R1", "R2"):
        api.post("/locations", {"code": rack, "kind": "rack", "parent": "HOUSE"})
        for level in ("1", "2", "3"):
            api.post(
                "/locations",
                {"code": f"{rack}-{level}", "kind": "level", "parent": rack, "capacity_kg": 900},
            )
    for number, (place, bags) in enumerate((("R1-1", 15), ("R1-2", 6), ("R2-1", 9)), 1):
        lot = receive(api, *[60] * bags, lot=f"HUILA-{number}", name="Huila", origin="CO")
        api.post("/moves", {"sacks": sack_codes(lot), "to": place})
    api.post("/holds", {"units": ["HUILA-2"], "reason": "water on the floor"})


def _measure(api: Api) -> None:
    """Take readings by which every band is there, and a damp room."""
    today = datetime.now(UTC)
    for subject, value, days in (
        ("GL-7", "10.4", 60), ("GL-7", "11.1", 25), ("GL-7", "12.3", 1), ("HUILA-1", "11", 3),
        ("HUILA-3", "13.4", 2),
    ):  # fmt: skip
        api.post(
            "/readings",
            {"subject": subject, "kind": "moisture", "value": Decimal(value),
             "taken_at": (today - timedelta(days=days)).isoformat()},
        )  # fmt: skip
    api.post("/readings", {"subject": "HOUSE", "kind": "relative_humidity", "value": 78})


def _count(api: Api) -> None:
    """Open a count of a rack, and end one of a lot with sacks that differ."""
    api.post("/counts", {"location": "R1"})
    number = api.post("/counts", {"lot": "HUILA-2"})["id"]
    sacks = [each["code"] for each in api.get("/sacks?lot=HUILA-2")["items"]]
    lines = [{"sack": sacks[0], "kg": 60}, {"sack": sacks[1], "kg": Decimal("57.5")}]
    lines.append({"sack": sacks[2], "found": False})
    api.post(f"/counts/{number}/lines", {"lines": lines})
    api.post(f"/counts/{number}/close", {})


def _plan(api: Api) -> None:
    """Plan batches of today, with some of their sacks beside the drum, and enter instruments."""
    api.post("/locations", {"code": "DRUM-SIDE", "kind": "roaster_side"})
    api.post("/styles", {"name": "House", "machine": "DRUM-75", "batch_kg": 45})
    green = [{"lot": "HUILA-1", "kg": 45}]
    api.post("/batches", {"on": "2026-03-02", "style": "House", "count": 3, "green": green})
    first = api.get("/sacks?lot=HUILA-1")["items"][0]["code"]
    api.post("/moves", {"sacks": [first], "to": "DRUM-SIDE"})
    for code in ("METER-1", "METER-2"):
        meter = {"code": code, "name": "Moisture meter", "kinds": ["moisture"]}
        api.post("/instruments", meter | {"calibration_every_days": 365})
    checked = {"calibrated_on": "2026-10-01", "against": "oven by ISO 6673", "result": "passed"}
    api.post("/instruments/METER-1/calibrations", checked)


def test_every_page_of_the_store_is_fit_for_everybody(
    browser: Browser, delivery: str, add_person: Callable[..., str]
) -> None:
    browser.sign_in(add_person("Ada", "admin"), PASSWORD)
    for name, path in PAGES.items():
        browser.examine(name, path.format(delivery=delivery))


def test_what_is_wrong_is_put_on_record_and_photographed(
    browser: Browser, delivery: str, api: Api, add_person: Callable[..., str], tmp_path: Path
) -> None:
    for name, colour in (("seam", "peru"), ("beans", "olive")):
        Image.effect_noise((640, 480), 60).convert("RGB").save(tmp_path / f"{name}.jpg")
        Image.new("RGB", (480, 640), colour).save(tmp_path / f"{name}.png")
    browser.sign_in(add_person("Noor", "warehouse"), PASSWORD)
    browser.open("/arrivals/GL-7/count")
    browser.wait_until(lambda: browser.value("sound") == "12", "what was counted is not there")
    browser.scan("11")  # in the place of what stood there
    browser.wait_for("Counted, and it does not reconcile: off by -1")
    browser.open(f"/deliveries/{delivery}")
    browser.press_in(".card", "Something is wrong with sacks")
    browser.run("document.querySelector('[name=kind]').value = 'wet'")
    browser.type("sacks", "2")
    browser.type("note", "from the roof of the truck")
    browser.press("Put it on record")
    browser.wait_for("Put on record.")
    # With the service worker between, as on the second page that somebody opens.
    browser.wait_until_kept("/move")
    browser.driver.find_element("id", "f-taken").send_keys(str(tmp_path / "seam.jpg"))
    browser.driver.find_element("id", "f-chosen").send_keys(
        f"{tmp_path / 'beans.jpg'}\n{tmp_path / 'beans.png'}"
    )
    browser.press("Keep the photos")
    browser.wait_for("3 photos are kept.")
    browser.wait_until(
        lambda: browser.run("return [...document.images].every((each) => each.naturalWidth > 0)"),
        "the small photos are not shown",
    )
    browser.examine("photos", "/exceptions/2/photos")
    assert api.get("/lots/GL-7/exceptions")["items"][1]["photos"] == [1, 2, 3]
    too_large = tmp_path / "large.jpg"
    too_large.write_bytes((tmp_path / "seam.jpg").read_bytes() + bytes(8_000_000))
    browser.look("phone")
    browser.open("/exceptions/2/photos")
    chosen = browser.driver.find_element("id", "f-chosen")
    chosen.send_keys(str(too_large))
    said = "large.jpg: larger than the 8 MB that are kept"
    assert chosen.get_attribute("validationMessage") == said
    browser.press("Keep the photos")
    assert str(chosen.get_attribute("value")).endswith("large.jpg"), "it was sent"
    browser.shoot("photos-refused")
    # More than all together may have: the refusal is seen, though much was still to be sent.
    several = [tmp_path / f"{number}.jpg" for number in range(7)]
    for each in several:
        each.write_bytes(bytes(7_900_000))
    chosen.clear()
    chosen.send_keys("\n".join(map(str, several)))
    browser.press("Keep the photos")
    browser.wait_for("All files together have at most 49 MB.")
    assert (browser.focused(), browser.findings()) == ("f-taken", [])
    browser.shoot("photos-too-large")


@pytest.mark.usefixtures("delivery")
def test_forty_sacks_are_written_down_from_the_keyboard_and_put_away_with_a_scanner(
    browser: Browser, api: Api, add_person: Callable[..., str]
) -> None:
    browser.sign_in(add_person("Noor", "warehouse"), PASSWORD)
    browser.open("/receive?contract=PC-1")
    browser.type("lots.0.name", "Yirgacheffe")
    browser.type("lots.0.advised_kg", "2500")
    browser.type("_kg.0", "60.2\n")
    browser.wait_for("Sacks: 1. Together: 60.2\N{NARROW NO-BREAK SPACE}kg.")
    for number in range(2, 41):
        browser.type("_kg.0", "+")
        assert browser.text(".sum").startswith(f"Sacks: {number}.")
    assert "92\N{NARROW NO-BREAK SPACE}kg less than on the papers." in browser.text(".sum")
    browser.type("_kg.0", "heavy\n")
    assert browser.text(".sum") == "That is no weight."
    browser.replace("_kg.0", "59,5\n")
    browser.wait_for("Sacks: 41. Together: 2,467.5\N{NARROW NO-BREAK SPACE}kg.")
    browser.run("document.querySelector('.sacks').scrollIntoView()")
    browser.shoot("receive-weighed")
    assert (browser.findings(), browser.small_targets(), browser.spills()) == ([], [], False)
    browser.press("Book the delivery")
    browser.wait_for("Received: 41 sacks, 2,467.5\N{NARROW NO-BREAK SPACE}kg.")
    lot = api.get("/lots")["items"][-1]
    assert (lot["sack_count"], str(lot["received_kg"])) == (41, "2467.5")

    browser.press_in("main", "Put away")
    browser.wait_for("Waiting for a place")
    browser.scan("b-02")
    browser.wait_until_focused("f-sacks-scan")
    assert browser.text(".taken").count("S-") == 41
    browser.press("They stand there now")
    browser.wait_for("41 sacks now stand at B-02.")
    browser.wait_until_focused("f-sacks-scan")
    assert browser.complaints() == []

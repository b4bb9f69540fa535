"""Booking while the connection is cut: kept, shown, sent in order, booked once, refusals told."""

import socket
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager

import pytest
from fastapi import FastAPI
from selenium import webdriver

from app.shared.codes import issue
from app.shared.times import now
from tests.api import Api
from tests.makers import furnish, pack, receive, roast, sack_codes
from tests.serving import served
from tests.web.browser import Browser
from tests.web.conftest import PASSWORD

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


@pytest.fixture
def port() -> int:
    """A port that the service comes back to after its connection was cut."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


@pytest.fixture
def roaming(chromium: webdriver.Chrome, port: int) -> Iterator[Browser]:
    chromium.get("about:blank")
    chromium.execute_cdp_cmd("Network.clearBrowserCookies", {})
    yield Browser(chromium, f"http://127.0.0.1:{port}")
    chromium.get("about:blank")
    origin = f"http://127.0.0.1:{port}"
    chromium.execute_cdp_cmd(
        "Storage.clearDataForOrigin", {"origin": origin, "storageTypes": "all"}
    )


@pytest.fixture
def connected(service: FastAPI, port: int) -> Callable[[], AbstractContextManager[str]]:
    """Serve for a while; before and after, whoever calls is refused."""
    return lambda: served(service, port)


def test_what_is_booked_without_a_connection_is_sent_in_order_when_it_is_back(
    roaming: Browser,
    connected: Callable[[], AbstractContextManager[str]],
    api: Api,
    add_person: Callable[..., str],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60))
    roaming.look("phone")
    with connected():
        roaming.sign_in(add_person("Noor", "warehouse"), PASSWORD)
        roaming.wait_until_kept("/move", "/moisture", "/offline")

    roaming.open("/")
    assert "These forms work all the same." in roaming.text()
    for place, sack in (("A-01", sacks[0]), ("B-02", sacks[0]), ("Z-99", sacks[1])):
        roaming.open("/move")
        roaming.scan(place)
        roaming.wait_until_focused("f-sacks-scan")
        roaming.scan(sack)
        roaming.wait_for("1 scanned")
        roaming.press("Book the move")
        roaming.wait_for(f"{place}, {sack}", "#queue")
    assert "Waiting for a connection, not booked yet:" in roaming.text("#queue")
    roaming.shoot("offline-queue")
    assert roaming.findings() == []
    assert not [line for line in api.get("/entries")["items"] if line["kind"] == "move"]

    with connected():
        roaming.open("/move")
        roaming.wait_for("Refused:", "#queue")
        told = roaming.text("#queue")
        assert "Z-99" in told
        assert "A-01" not in told
        roaming.shoot("offline-refused")
        roaming.press_in("#queue", "Open and correct")
        assert roaming.value("to") == "Z-99"
        roaming.replace("to", "A-01")
        roaming.press("Book the move")
        roaming.wait_for("1 sack now stands at A-01.")
        roaming.wait_until_gone("#queue")

    moves = [(each["unit"], each["to"]) for each in api.get("/moves")["items"]]
    assert moves == [(sacks[0], "A-01"), (sacks[0], "B-02"), (sacks[1], "A-01")]
    assert {line["who"] for line in api.get("/entries")["items"] if line["kind"] == "move"} == {
        "Noor"
    }
    book_is_sound()


def test_a_planned_batch_is_roasted_without_a_connection(
    roaming: Browser,
    connected: Callable[[], AbstractContextManager[str]],
    api: Api,
    add_person: Callable[..., str],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7"))
    green = {"share_pct": 100, "lots": ["GL-7"]}
    api.post("/styles", {
        "name": "Dark", "loss_pct": 16, "colour_target": 55, "colour_tolerance": 2,
        "colour_scale": "Agtron", "machine": "DRUM-75", "batch_kg": 60, "green": [green],
    })  # fmt: skip
    api.post("/batches", {"on": str(now().date()), "style": "Dark"})
    with connected():
        roaming.sign_in(add_person("Rana", "roaster"), PASSWORD)
        roaming.wait_until_kept("/roast", "/offline")

    roaming.open("/roast?batch=1")
    assert (roaming.value("draws.0.sack"), roaming.value("machine")) == (sacks[0], "DRUM-75")
    roaming.press("Next")
    roaming.wait_for("Charged: 60 kg.")
    roaming.type("end_kg", "50.4")
    roaming.run("document.querySelector('[name=profile_hit][value=true]').click()")
    roaming.press("Next")
    roaming.type("colour_reading.values", "55")
    roaming.press("Book the roast")
    roaming.wait_for("Book the roast: 1, DRUM-75", "#queue")
    assert "Begun and not booked:" not in roaming.text()
    assert api.get("/roasts")["items"] == []

    with connected():
        roaming.open("/roasting")
        roaming.wait_until(lambda: bool(api.get("/roasts")["items"]), "the roast is not booked")
        roaming.open("/roasting")
        roaming.wait_for("passed")

    (made,) = api.get("/roasts")["items"]
    assert (made["disposition"], str(made["end_kg"])) == ("passed", "50.4")
    assert api.get("/batches/1")["roast"] == made["code"]
    book_is_sound()


def _is_told_what_cannot_be_looked_up(roaming: Browser, sack: str) -> None:
    """Scan what would be refused once it is sent: it is refused at once."""
    roaming.open("/put-away")
    roaming.scan("B")
    roaming.wait_for("B · not looked up, no connection")
    roaming.open("/put-away")
    roaming.scan("B-02")
    roaming.wait_for("B-02 · not looked up, no connection")
    roaming.wait_until_focused("f-sacks-scan")
    roaming.scan("002/1961/0978")  # a mark as in the ITC Coffee Guide, Identification of exports
    roaming.wait_for("No connection, so nothing can be looked up: scan or type the code itself.")
    roaming.replace("sacks", issue("L", 7))
    roaming.scan("")
    roaming.wait_for(f"That is lot {issue('L', 7)}, which is not wanted here.")
    roaming.shoot("offline-unwanted")
    roaming.replace("sacks", "7")  # the code of a place may have one character, that of a sack not
    roaming.scan("")
    roaming.wait_for("No connection, so nothing can be looked up: scan or type the code itself.")
    assert roaming.run("return document.querySelector('[name=sacks]').value") == ""
    roaming.replace("sacks", sack)
    roaming.scan("")
    roaming.wait_for(f"{sack} · not looked up, no connection · 1 scanned")


def _receive_twice_tapped(roaming: Browser) -> None:
    roaming.open("/receive")
    roaming.type("supplier", "Finca El Roble")
    roaming.type("lots.0.name", "Huila")
    roaming.run("document.querySelector('[name=\"lots.0.origin\"]').value = 'CO'")
    roaming.type("_kg.0", "60.2\n+")
    roaming.wait_for("Sacks: 2.", ".sum")
    roaming.run("const b = document.querySelector('main [data-book]'); b.click(); b.click()")
    roaming.wait_for("Book the delivery: Finca El Roble", "#queue")


def _scan_and_press(roaming: Browser, path: str, codes: list[str], button: str) -> None:
    roaming.open(path)
    roaming.scan(codes[0])
    for code in codes[1:]:
        roaming.wait_until_focused("f-sacks-scan")
        roaming.scan(code)
    roaming.press(button)
    roaming.wait_for(f"{button}: ", "#queue")


def _fill_bags(roaming: Browser, roasted: str) -> None:
    roaming.open("/pack")
    form = "document.querySelectorAll('form.task')[0].elements"
    roaming.run(f"{form}.product.value = 'HOUSE-250'; {form}.bags.value = '20'")
    roaming.type("from.0.unit", roasted)
    roaming.type("from.0.kg", "5")
    roaming.press("Book the run")
    roaming.wait_for(f"Book the run: HOUSE-250, 20, {roasted}, 5", "#queue")


def _send(roaming: Browser, pack: str) -> None:
    roaming.open("/send")
    roaming.run("document.querySelector('[name=customer]').value = 'Café Nord'")
    roaming.run("document.getElementById('f-load').focus()")
    roaming.scan(pack)
    roaming.wait_for(f"{pack} · 1 of 1 scanned")
    roaming.scan(pack)
    roaming.wait_for(f"{pack} · 2 of 2 scanned")
    roaming.replace("lines.0.bags", "99")
    roaming.press("Book the dispatch")
    roaming.wait_for(f"Book the dispatch: Café Nord, {pack}, 99", "#queue")


def _is_booked_in_its_order(api: Api, sacks: list[str]) -> None:
    mine = [each for each in api.get("/entries?limit=500")["items"] if each["who"] == "Noor"]
    assert [each["kind"] for each in mine] == [
        "delivery", "counted", "move", "pack", "dispatch", "move",
    ]  # fmt: skip
    assert api.get("/lots")["items"][-1]["sack_count"] == 2
    assert [api.get(f"/sacks/{each}")["location"] for each in sacks[1:4]] == [
        "A-01", "DRUM-SIDE", "B-02",
    ]  # fmt: skip
    assert api.get("/counts/1")["counted_sacks"] == 1
    assert [each["bags"] for each in api.get("/packs")["items"]] == [40, 20]
    (sent,) = api.get("/dispatches")["items"]
    assert [line["bags"] for line in api.get(f"/dispatches/{sent['code']}")["lines"]] == [2]


def test_a_morning_without_a_connection_is_booked_in_its_order_but_for_what_is_refused(
    roaming: Browser,
    connected: Callable[[], AbstractContextManager[str]],
    api: Api,
    add_person: Callable[..., str],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    api.post("/locations", {"code": "DRUM-SIDE", "kind": "roaster_side"})
    sacks = sack_codes(receive(api, *[60] * 5, lot="GL-7"))
    api.post("/moves", {"sacks": sacks, "to": "A-01"})
    roasted = str(roast(api, {sacks[0]: 60}, 50)["code"])
    packed = str(pack(api, {roasted: 10}, 40)["code"])
    api.post("/counts", {"location": "A-01"})
    roaming.look("phone")
    with connected():
        roaming.sign_in(add_person("Noor", "warehouse"), PASSWORD)
        for path in ("/receive", "/put-away", "/bring", "/pack", "/send", "/offline"):
            roaming.wait_until_kept(path)
        roaming.open("/counts/1")
        roaming.wait_until_kept("/counts/1")

    _is_told_what_cannot_be_looked_up(roaming, sacks[2])
    _receive_twice_tapped(roaming)
    roaming.open("/counts/1")
    roaming.scan(sacks[1])
    roaming.wait_for("1 scanned")
    roaming.press("Take it down")
    roaming.wait_for(f"Take it down: {sacks[1]}", "#queue")
    _scan_and_press(roaming, "/bring", [sacks[2]], "They stand there now")
    _fill_bags(roaming, roasted)
    _send(roaming, packed)
    _scan_and_press(roaming, "/put-away", ["B-02", sacks[3]], "They stand there now")
    assert roaming.text("#queue").count("Book the delivery") == 1
    roaming.shoot("offline-morning")
    assert (roaming.findings(), roaming.small_targets(), roaming.spills()) == ([], [], False)
    assert [each["who"] for each in api.get("/entries?limit=500")["items"]].count("Noor") == 0

    with connected():
        roaming.open("/")
        roaming.wait_for("Refused:", "#queue")
        told = roaming.text("#queue")
        for sent_on in ("Book the delivery", "Take it down", "DRUM-SIDE", "Book the run"):
            assert sent_on not in told, told
        assert told.index("Book the dispatch") < told.index("Refused:") < told.index("B-02"), told
        assert api.get(f"/sacks/{sacks[3]}")["location"] == "A-01"
        roaming.press_in("#queue", "Open and correct")
        roaming.wait_for("Send bags", "h1")
        assert (roaming.value("lines.0.pack"), roaming.value("lines.0.bags")) == (packed, "99")
        roaming.replace("lines.0.bags", "2")
        roaming.press("Book the dispatch")
        roaming.wait_for("booked: 0.5")
        # What waited behind the refused one goes out after the page is there again.
        roaming.wait_until(
            lambda: bool(api.get(f"/sacks/{sacks[3]}")["location"] == "B-02"), "it still waits"
        )
        roaming.wait_until_gone("#queue")

    _is_booked_in_its_order(api, sacks)
    book_is_sound()

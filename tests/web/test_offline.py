"""Booking while the connection is cut: kept, shown, sent in order, booked once, refusals told."""

import socket
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager

import pytest
from fastapi import FastAPI
from selenium import webdriver

from app.shared.times import now
from tests.api import Api
from tests.makers import furnish, receive, sack_codes
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

"""Pictures for buyers: what they say is what the API answers, and they can be read aloud."""

import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from fastapi import FastAPI

from app.green.identity.rules import months_since
from app.shared.mass import kg_text
from tests.api import Api, problem
from tests.buying.house import buy_and_roast
from tests.cover.conftest import ago, only

SVG = "{http://www.w3.org/2000/svg}"


class Picture:
    """A picture as somebody sees it, and as it is read aloud."""

    def __init__(self, api: Api, path: str) -> None:
        answer = api.send("GET", path)
        assert answer.status_code == 200, answer.text
        assert answer.headers["content-type"].startswith("image/svg+xml")
        assert "sandbox" in answer.headers["content-security-policy"]
        self.content = answer.content
        root = ET.fromstring(answer.text)  # noqa: S314 - our own
        self.tags = {each.tag.removeprefix(SVG) for each in root.iter()}
        title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
        assert title is not None
        assert description is not None
        assert root.attrib["role"] == "img"
        assert root.attrib["aria-labelledby"] == f"{title.attrib['id']} {description.attrib['id']}"
        self.title, self.aloud = str(title.text), str(description.text)
        self.shown = {"".join(each.itertext()) for each in root.iter(f"{SVG}text")}


def kilos(said: Any) -> str:
    """Write a mass of an answer as a picture does."""
    return kg_text(int(Decimal(said) * 1000))


def days(said: Any) -> str:
    return f"{round(Decimal(said), 1).normalize():f}"


@pytest.fixture
def house(api: Api) -> Api:
    buy_and_roast(api)
    return api


def test_the_pictures_say_the_figures_that_the_api_answers(house: Api) -> None:
    cover, orders = house.get("/cover?by=component"), house.get("/cover/orders")
    board = Picture(house, "/cover.svg")

    assert board.title == f"Days of cover by component, at the end of {cover['as_of']}"
    assert [only(cover, key)["days_of_cover"] is None for key in ("Base", "Bright", "Filter")] == [
        False, False, True,
    ]  # fmt: skip
    assert {"available", "more, if released", "order by", "no use in window"} <= board.shown
    for row in cover["items"]:
        if row["days_of_cover"] is None:
            continue
        order_by = only(orders, row["key"])["order_by"]
        said = f"{row['key']}: {days(row['days_of_cover'])} days, until {row['runs_out_on']}"
        assert said in board.aloud
        assert f"; order by {order_by}." in board.aloud
    bright = only(cover, "Bright")
    held = f"{days(bright['days_of_cover'])} d ({days(bright['days_if_released'])} d if released)"
    assert held in board.shown
    assert "order by" not in Picture(house, f"/cover.svg?by=lot&as_of={ago(1)}").shown

    found = house.get("/cover/projection?key=base&days=60")
    projected = Picture(house, "/cover/projection.svg?key=base&days=60")
    (afloat,) = found["arrivals"]
    last = found["days"][-1]
    assert {"order point", kilos(found["reorder_point_kg"])} <= projected.shown
    assert f"PC-SEA: {kilos(afloat['open_kg'])}" in projected.shown
    assert {"likely range", "expected stock", "arrives", "may come between"} <= projected.shown
    assert f"order by {found['order_by']}" in projected.shown
    low, high = kilos(last["low_kg"]), kilos(last["high_kg"])
    until = f"Expected on {last['on']}: {kilos(last['expected_kg'])}, between {low} and {high}."
    assert until in projected.aloud
    may_come = f"on {afloat['on']}, between {afloat['earliest_on']} and {afloat['latest_on']}."
    assert may_come in projected.aloud
    short = Picture(house, "/cover/projection.svg?key=Bright")
    runs_out = house.get("/cover/projection?key=Bright")["runs_out_on"]
    assert {"short", f"runs out {runs_out}"} <= short.shown
    assert "nobody knows when it comes: 300.0 kg of PC-FWD from Finca El Roble" in short.aloud

    months = house.get("/ageing/months")
    ages = Picture(house, "/ageing/months.svg")
    assert {"on hold", "not on hold", "24+", "?", "300.0", "600.0"} <= ages.shown
    for each in months["items"]:
        when = "unknown" if each["months"] is None else f"{each['months']} months"
        assert f"{when} {kilos(each['on_hand_kg'])}" in ages.aloud
    assert house.send("GET", "/cover.svg").content == board.content


def test_use_by_day_adds_up_to_what_cover_is_reckoned_by(house: Api, service: FastAPI) -> None:
    found = house.get("/cover/use?key=BASE")
    row = only(house.get("/cover?by=component"), "Base")
    used = {each["on"]: each["used_kg"] for each in found["days"] if each["used_kg"]}

    # By hand: 60 kg on each of 10 days, five days apart, the first of them 52 days ago.
    assert used == {str(ago(52 - 5 * number)): 60 for number in range(10)}
    assert (found["key"], len(found["days"])) == ("Base", 56)
    for each, window in zip(found["windows"], row["windows"], strict=True):
        assert each["daily_use_kg"] == window["daily_use_kg"]
        assert each["used_kg"] == window["used_kg"]
        since = [day["used_kg"] for day in found["days"] if day["on"] >= each["first_on"]]
        assert sum(since) == each["used_kg"]
    picture = Picture(house, "/cover/use.svg?key=Base")
    assert "600.0 kg on 10 of 56 days" in picture.aloud
    assert "56 days: 10.714 kg a day" in picture.shown
    assert "closed" not in picture.shown
    sundays = house.get("/cover/use?by=origin&key=br&window_days=7")
    assert [each["window_days"] for each in sundays["windows"]] == [7, 28, 56]

    service.state.settings = service.state.settings.model_copy(
        update={"closed_weekdays": frozenset({"sunday"})}
    )
    closed = house.get("/cover/use?key=Base&open_days=true")
    assert sum(not each["open"] for each in closed["days"]) == 8
    assert [each["counted_days"] for each in closed["windows"]] == [24, 48]
    assert "closed" in Picture(house, "/cover/use.svg?key=Base").shown
    problem(house.send("GET", "/cover/use?key=Nothing"), 404, "not-found")
    problem(house.send("GET", "/cover/use.svg?by=product&key=X"), 422, "invalid")


def test_age_by_month_adds_up_to_what_is_on_hand(house: Api) -> None:
    lots = house.get("/ageing")["items"]
    found = house.get("/ageing/months")

    for counted_from in ("harvest", "arrival"):
        there = [each for each in found["items"] if each["counted_from"] == counted_from]
        assert sum(each["on_hand_kg"] for each in there) == sum(lot["on_hand_kg"] for lot in lots)
        assert sum(each["lots"] for each in there) == len(lots)
        assert sum(each["held_kg"] for each in there) == 300
    assert found["items"][-1]["months"] == months_since(ago(420), ago(0))
    assert [each["months"] for each in found["items"] if each["lots"]].count(None) == 1


def test_whole_months_end_on_the_day_of_the_month_or_its_last() -> None:
    assert months_since(date(2026, 1, 31), date(2026, 2, 27)) == 0
    assert months_since(date(2026, 1, 31), date(2026, 2, 28)) == 1
    assert months_since(date(2025, 11, 26), date(2026, 11, 25)) == 11
    assert months_since(date(2025, 11, 26), date(2026, 11, 26)) == 12
    assert months_since(date(2026, 11, 27), date(2026, 11, 26)) == 0


def test_a_picture_of_an_empty_or_oddly_named_book_is_drawn(api: Api) -> None:
    assert "Nothing is there" in Picture(api, "/cover.svg").aloud
    assert "nothing on hand" in Picture(api, "/ageing/months.svg").aloud
    buy_and_roast(api)
    odd = 'R\N{LATIN SMALL LETTER O WITH STROKE}d $x$ <b>&" \u4e91\u5357'
    api.send("PATCH", "/styles/Espresso", {"green": [
        {"share_pct": 100, "lots": ["GL-BASE"], "component": odd},
    ]}, If_Match="*")  # fmt: skip

    board = Picture(api, "/cover.svg")

    assert odd in board.aloud
    assert odd in board.shown
    assert "b" not in board.tags
    assert re.search(r"R.d \$x\$ ", Picture(api, f"/cover/projection.svg?key={_quoted(odd)}").title)


def _quoted(text: str) -> str:
    return "".join(f"%{byte:02X}" for byte in text.encode())


def test_whoever_reads_may_look(api: Api, api_as: Callable[..., Api]) -> None:
    roaster = api_as("roaster")
    for path in ("/cover.svg", "/ageing/months", "/cover/report.pdf"):
        assert roaster.send("GET", path).status_code == 200, path
        problem(api.send("GET", path, Authorization=""), 401, "unauthorized")

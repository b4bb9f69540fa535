"""Forecasts by lot, origin, component and product, over the book."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import Engine, event

from app.standards.forecasting import choose
from tests.api import Api, kg, problem
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes

FIRST = date(2026, 3, 9)
DRAWN = [20, 0, 0, 10, 0, 50, 40, 0, 0, 30, 0, 0, 10, 10]
"""By week. Ten times a series from a tutorial on spare parts by a consultancy (P. Morgan)."""
AS_OF = FIRST + timedelta(weeks=len(DRAWN), days=-1)


def _forecasts(api: Api, by: str, **more: Any) -> dict[str, Any]:
    asked = "&".join(f"{name}={value}" for name, value in more.items())
    found = api.get(f"/forecasts?by={by}&as_of={AS_OF}&{asked}")["items"]
    return {each["key"]: each for each in found}


def test_use_of_every_week_is_forecast_by_the_method_that_erred_least(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, *[60] * 5, lot="GL-1"))
    [other] = sack_codes(receive(api, 60, lot="GL-2", origin="BR"))
    held = receive(api, 60, lot="GL-3")
    for style, lot in (("House", "GL-1"), ("Plain", "GL-2")):
        api.post("/styles", {"name": style, "green": [
            {"share_pct": 100, "lots": [lot], "component": f"For {style}"},
        ]})  # fmt: skip
    api.post("/holds", {"units": [held["code"]], "reason": "smells odd"})
    roast(api, {other: 20}, 17, style="Plain", roasted_at="2026-04-01T10:00:00Z")
    left = dict.fromkeys(sacks, 60)
    for week, kilograms in enumerate(DRAWN):
        # The last moment of each week is still of it.
        at = f"{FIRST + timedelta(weeks=week, days=6)}T23:59:59Z"
        if kilograms:
            sack = next(sack for sack, there in left.items() if there >= kilograms)
            left[sack] -= kilograms
            roast(api, {sack: kilograms}, kilograms * 85 // 100, style="House", roasted_at=at)
    undone = roast(api, {other: 10}, 8, style="House", roasted_at=f"{AS_OF}T10:00:00Z")["code"]
    api.post(f"/units/{undone}/void", {"reason": "typed twice"})

    row = _forecasts(api, "lot")["GL-1"]

    chosen = choose([kilograms * 1000 for kilograms in DRAWN])
    assert (row["weeks"], row["used_kg"], row["demand_class"]) == (14, 170, "intermittent")
    # Syntetos, Boylan and Croston (2005), from memory; the series has 7 demands in 14 periods.
    assert (row["adi"], row["cv2"]) == (2, kg("0.381"))
    assert row["method"] == chosen.method
    assert row["weekly_kg"] * 1000 == round(chosen.forecast.rate)
    errors = {each["method"]: each["error_kg"] for each in row["errors"]}
    assert errors[row["method"]] == min(errors.values())
    assert set(errors) == {"mean", "ses", "croston", "sba", "sbj", "tsb"}
    assert row["low_kg"] <= row["expected_kg"] <= row["high_kg"]
    assert row["available_kg"] == 130
    assert 0 < row["days_90"] < row["days_50"]
    assert _forecasts(api, "lot") == _forecasts(api, "lot")
    # From its first week on; too few weeks to choose by are averaged.
    brazil = _forecasts(api, "origin")["BR"]
    assert (brazil["weeks"], brazil["demand_class"], brazil["available_kg"]) == (11, "too_few", 40)
    assert (brazil["name"], brazil["weekly_kg"]) == ("Brazil", kg("1.818"))
    # One use tells nothing of how much use varies, so nothing is bounded by it.
    assert [brazil[name] for name in ("low_kg", "high_kg", "days_50", "days_90")] == [None] * 4
    assert "too little use" in brazil["note"]
    ethiopia = _forecasts(api, "origin")["ET"]
    assert (ethiopia["used_kg"], ethiopia["available_kg"]) == (170, 130)
    components = _forecasts(api, "component", weeks_ahead=8)
    # A component is what cover means by it: a slot of a style's charge, and not the style.
    assert {key: each["used_kg"] for key, each in components.items()} == {
        "For House": 170, "For Plain": 20,
    }  # fmt: skip
    for_house = components["For House"]
    assert (for_house["available_kg"], for_house["days_50"]) == (130, row["days_50"])
    (on_cover,) = [each for each in api.get(f"/cover?by=component&as_of={AS_OF}")["items"]
                   if each["key"] == "For House"]  # fmt: skip
    assert on_cover["available_kg"] == for_house["available_kg"]
    [site] = _forecasts(api, "site").values()
    assert (site["key"], site["used_kg"], site["available_kg"]) == ("(no site)", 190, 170)
    assert "GL-3" not in _forecasts(api, "lot")
    # A day earlier the last week is another one, and nothing later counts.
    earlier = api.get(f"/forecasts?as_of={AS_OF - timedelta(days=1)}")["items"][0]
    assert (earlier["key"], earlier["used_kg"]) == ("GL-1", 160)
    book_is_sound()


def test_what_is_sent_of_a_product_is_forecast_too_and_all_of_it_in_few_statements(
    api: Api, engine: Engine
) -> None:
    furnish(api)

    def one_more(number: int) -> None:
        [sack] = sack_codes(receive(api, 60, lot=f"GL-{number}"))
        roast(api, {sack: 60}, 51, code=f"R-{number}", style=f"Style {number}",
              roasted_at=f"2026-04-0{number}T10:00:00Z")  # fmt: skip
        packed = pack(api, {f"R-{number}": 50}, bags=25, sku="HOUSE-2000",
                      packed_at=f"2026-04-0{number}T11:00:00Z")["code"]  # fmt: skip
        dispatch(api, {packed: 10}, dispatched_at=f"2026-04-0{number}T12:00:00Z")

    def statements(by: str) -> int:
        seen: list[str] = []
        note: Callable[..., None] = lambda *said: seen.append(said[2])  # noqa: E731
        event.listen(engine, "before_cursor_execute", note)
        _forecasts(api, by)
        event.remove(engine, "before_cursor_execute", note)
        return len(seen)

    one_more(1)
    one = {by: statements(by) for by in ("lot", "origin", "component", "product", "site")}
    one_more(2)
    one_more(3)

    assert {by: statements(by) for by in one} == one
    assert max(one.values()) <= 10
    product = _forecasts(api, "product")["HOUSE-2000"]
    assert (product["used_kg"], product["available_kg"]) == (60, 90)
    # Roasts of a style that is on no card belong to no component.
    found = api.get(f"/forecasts?by=component&as_of={AS_OF}")
    assert (found["items"], found["apart_used_kg"]) == ([], 180)


def test_bags_that_came_back_were_not_wanted_and_are_sent_again_as_new(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60))
    roast(api, {sack: 60}, 51, code="R-1", roasted_at="2026-04-01T10:00:00Z")
    packed = pack(api, {"R-1": 50}, bags=25, sku="HOUSE-2000",
                  packed_at="2026-04-01T11:00:00Z")["code"]  # fmt: skip
    sent = dispatch(api, {packed: 10}, dispatched_at="2026-04-01T12:00:00Z")["code"]

    def product(**more: Any) -> tuple[Any, Any]:
        row = _forecasts(api, "product", **more)["HOUSE-2000"]
        return row["used_kg"], row["available_kg"]

    assert product() == (20, 30)
    back = api.post("/returns", {
        "dispatch": sent, "reason": "too many", "returned_at": "2026-04-09T12:00:00Z",
        "lines": [{"pack": packed, "bags": 4}],
    })  # fmt: skip
    # What came back waits on hold.
    assert product() == (12, 30)
    api.post(f"/holds/{back['hold']}/release", {"reason": "bags are whole"})
    assert product() == (12, 38)
    again = dispatch(api, {back["lines"][0]["code"]: 3}, dispatched_at="2026-04-20T12:00:00Z")
    assert product() == (18, 32)
    # Of a day before the second dispatch, and before the return.
    early = api.get("/forecasts?by=product&as_of=2026-04-15")["items"][0]
    assert (early["used_kg"], early["available_kg"]) == (12, 38)
    api.post(f"/units/{again['code']}/void", {"reason": "typed twice"})
    assert product() == (12, 38)
    book_is_sound()


def test_forecasts_come_a_page_at_a_time_in_the_order_of_their_keys(api: Api) -> None:
    furnish(api)
    for number in range(5):
        lot = receive(api, 60, lot=f"GL-{number}")
        roast(api, {sack_codes(lot)[0]: 10}, 8, roasted_at="2026-04-01T10:00:00Z")
    whole = api.get(f"/forecasts?as_of={AS_OF}")

    asked, pages = f"/forecasts?as_of={AS_OF}&limit=2", []
    answer = api.send("GET", asked)
    pages.append(answer.json())
    assert answer.headers["Link"].endswith('rel="next"')
    # What is used for the first time meanwhile shifts nothing.
    lot = receive(api, 60, lot="GL-00")
    roast(api, {sack_codes(lot)[0]: 10}, 8, roasted_at="2026-04-01T10:00:00Z")
    while pages[-1]["next"]:
        pages.append(api.get(f"{asked}&cursor={pages[-1]['next']}"))

    assert whole["next"] is None
    assert [len(page["items"]) for page in pages] == [2, 2, 1]
    assert [row["key"] for page in pages for row in page["items"]] == [
        row["key"] for row in whole["items"]
    ]
    for wrong in ("bm9uZQ", "!", "YWZ0ZXI6YQ=="):
        problem(api.send("GET", f"{asked}&cursor={wrong}"), 400, "bad-request")


def test_what_cannot_be_forecast_is_refused(api: Api) -> None:
    ahead = (datetime.now(UTC) + timedelta(days=2)).date()
    problem(api.send("GET", f"/forecasts?as_of={ahead}"), 422, "invalid")
    problem(api.send("GET", "/forecasts?by=colour"), 422, "invalid")

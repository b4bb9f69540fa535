"""How many days of green there are: by lot, origin, component and site, on any day."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from app.settings import Settings
from tests.api import Api, kg, problem
from tests.cover.conftest import ago, arrive, at, draw, only
from tests.cover.test_rules import Bakery, bakery

__all__ = ["bakery"]

ON = "2026-03-31"


def cover(api: Api, by: str = "lot", as_of: Any = ON, **more: Any) -> Any:
    asked = "".join(f"&{name}={value}" for name, value in more.items())
    return api.get(f"/cover?by={by}&as_of={as_of}{asked}")


def test_cover_is_what_is_available_over_green_drawn_a_day(house: Api) -> None:
    sack, other, wet = arrive(house, "GL-1", 600, 400, 100, on="2026-01-02")
    arrive(house, "GL-2", 60, on="2026-03-01", origin="KE")
    draw(house, sack, kg("56"), "2026-02-05")  # in 56 days and not in 28
    draw(house, sack, kg("20"), "2026-03-04")  # the first day of 28
    draw(house, other, kg("10.5"), ON, hour=23)
    house.post(f"/units/{draw(house, sack, kg('30'), ON)}/void", {"reason": "wrong sack"})
    house.post("/adjustments", {
        "unit": sack, "kg": kg("-0.35"), "reason": "sample", "happened_at": at("2026-03-20"),
    })  # fmt: skip
    house.post("/adjustments", {
        "unit": sack, "kg": -2, "reason": "spill", "happened_at": at("2026-03-20"),
    })  # fmt: skip
    house.post("/holds", {"units": [wet], "reason": "smells of the sea"})

    found = cover(house, window_days=28)
    one = only(found, "GL-1")

    # By hand: 1,100 less 86.5 drawn, 0.35 sampled and 2 spilt; 30.5 kg in 28 days.
    assert (one["on_hand_kg"], one["held_kg"]) == (kg("1011.15"), 100)
    assert one["available_kg"] == kg("911.15")
    assert (one["used_kg"], one["sampled_kg"], one["written_off_kg"]) == (
        kg("30.5"), kg("0.35"), 2,
    )  # fmt: skip
    assert one["daily_use_kg"] == kg("1.089286")
    assert one["days_of_cover"] == kg("836.465574")
    assert one["days_of_cover_exact"] == "255122/305"
    assert one["runs_out_on"] == "2028-07-15"
    assert one["days_if_released"] == kg("928.268852")
    assert [(each["window_days"], each["used_kg"]) for each in one["windows"]] == [
        (28, kg("30.5")), (56, kg("86.5")),
    ]  # fmt: skip
    assert one["note"] is None
    # No use is said, and is neither infinity nor nothing.
    two = found["items"][-1]
    assert (two["key"], two["on_hand_kg"], two["used_kg"], two["daily_use_kg"]) == (
        "GL-2",
        60,
        0,
        0,
    )
    assert (two["days_of_cover"], two["runs_out_on"], two["net_days_of_cover"]) == (None,) * 3
    assert two["note"] == "no use in window"


def test_a_past_day_is_answered_by_what_had_happened_by_its_end(
    house: Api, book_is_sound: Callable[[], None]
) -> None:
    (sack,) = arrive(house, "GL-1", 100, on="2026-03-01", location="Q-1")
    draw(house, sack, kg("10"), "2026-03-10")
    before = cover(house, as_of="2026-03-15")

    draw(house, sack, kg("5"), "2026-03-16")
    house.post("/moves", {"sacks": [sack], "to": "H-1", "moved_at": at("2026-03-17")})
    gone = house.post("/adjustments", {
        "unit": sack, "kg": -1, "reason": "spill", "happened_at": at("2026-03-18"),
    })  # fmt: skip
    arrive(house, "GL-2", 60, on="2026-03-19")
    after = cover(house, as_of="2026-03-15")
    # Typed in late, and yet of that day.
    draw(house, sack, kg("20"), "2026-03-15")
    late = only(cover(house, as_of="2026-03-15"), "GL-1")

    assert after == before
    assert (late["on_hand_kg"], late["used_kg"]) == (70, 30)
    assert only(cover(house), "GL-1")["on_hand_kg"] == 64
    line = house.get(f"/adjustments?unit={sack}")["items"][-1]["id"]
    house.post(f"/adjustments/{line}/void", {"reason": "was swept up"})
    assert only(cover(house), "GL-1")["on_hand_kg"] == 65
    assert only(cover(house), "GL-1")["written_off_kg"] == 0
    today = ago(0)
    assert only(cover(house, as_of=today), "GL-1")["on_hand_kg"] == 65
    assert cover(house, as_of="2026-02-28")["items"] == []
    assert gone["reason"] == "spill"
    # Where it was drawn counts, and where it stood then.
    assert [(row["key"], row["on_hand_kg"], row["used_kg"]) for row in cover(
        house, "site", as_of="2026-03-16"
    )["items"]] == [("QUAY", 65, 35)]  # fmt: skip
    hill, quay, nowhere = (only(cover(house, "site"), key) for key in ("Hill", "QUAY", "(no site)"))
    assert (hill["on_hand_kg"], hill["used_kg"], hill["reserved_kg"]) == (65, 0, None)
    assert (quay["on_hand_kg"], quay["used_kg"]) == (0, 35)
    assert nowhere["on_hand_kg"] == 60
    book_is_sound()


def test_by_origin_and_component_what_is_to_come_and_what_is_promised_count_once(
    house: Api,
) -> None:
    (old,), (new,) = (
        arrive(house, code, 300, on=ago(200)) for code in ("GL-OLD", "GL-NEW")
    )  # fmt: skip
    (top,) = arrive(house, "GL-TOP", 90, on=ago(200), origin="KE")
    house.post("/styles", {"name": "Espresso", "loss_pct": 15, "batch_kg": 10, "green": [
        {"share_pct": 60, "lots": ["GL-OLD"], "component": "Base"},
        {"share_pct": 40, "lots": ["GL-TOP"]},
    ]})  # fmt: skip
    house.post("/styles", {"name": "Filter", "loss_pct": 15, "green": [
        {"share_pct": 100, "lots": ["GL-OLD", "GL-NEW"], "component": "base"},
    ]})  # fmt: skip
    for days in (3, 9):
        draw(house, old, kg("70"), ago(days), style="Filter", loss_range_pct=None)
    draw(house, top, kg("14"), ago(5), style="Espresso", loss_range_pct=None)
    draw(house, new, kg("7"), ago(5))  # of no style
    # The slot gets another lot: what was drawn stays with it.
    house.send("PATCH", "/styles/Espresso", {"green": [
        {"share_pct": 60, "lots": ["GL-NEW"], "component": "Base"},
        {"share_pct": 40, "lots": ["GL-TOP"]},
    ]}, If_Match="*")  # fmt: skip
    house.post("/contracts", {
        "reference": "PC-1", "supplier": "Finca El Roble", "quantity_kg": 600,
        "weight_basis": "landed", "origin": "ET", "component": "Base",
        "ordered_on": str(ago(60)),
    })  # fmt: skip
    house.post("/contracts", {
        "reference": "PC-2", "supplier": "Finca El Roble", "quantity_kg": 50,
        "weight_basis": "landed",
    })  # fmt: skip
    arrive(house, "GL-PART", 100, on=ago(2), contract="PC-1", supplier="Finca El Roble")
    house.post("/batches", {"on": str(ago(-1)), "style": "Espresso"})

    found = cover(house, "component", as_of=ago(0))
    base, slot = only(found, "Base"), only(found, "Espresso, slot 2")
    ethiopia = only(cover(house, "origin", as_of=ago(0)), "ET")

    assert (base["on_hand_kg"], base["used_kg"], base["on_order_kg"]) == (453, 140, 500)
    assert (base["reserved_kg"], base["available_kg"]) == (6, 453)
    # Exactly (453 + 500 - 6) / 5, and 453 / 5.
    assert (base["net_days_of_cover"], base["days_of_cover"]) == (kg("189.4"), kg("90.6"))
    assert (slot["on_hand_kg"], slot["used_kg"], slot["reserved_kg"]) == (76, 14, 4)
    assert found["apart"] == {"on_hand_kg": 100, "used_kg": 7, "on_order_kg": 50}
    assert (ethiopia["name"], ethiopia["on_hand_kg"]) == ("Ethiopia", 553)
    assert (ethiopia["used_kg"], ethiopia["on_order_kg"]) == (147, 500)
    # Of the day before it was ordered, nothing was on order.
    assert cover(house, "origin", as_of=ago(61))["apart"]["on_order_kg"] == 50
    assert only(cover(house, "origin", as_of=ago(61)), "ET")["on_order_kg"] == 0


def test_a_lot_that_two_components_can_draw_on_is_named_at_both(house: Api) -> None:
    arrive(house, "GL-1", 60, on=ago(20))
    for name in ("Espresso", "Filter"):
        house.post("/styles", {"name": name, "green": [{"share_pct": 100, "lots": ["GL-1"]}]})

    found = cover(house, "component", as_of=ago(0))

    assert {row["key"]: row["shared_lots"] for row in found["items"]} == {
        "Espresso": ["GL-1"], "Filter": ["GL-1"],
    }  # fmt: skip
    assert [row["on_hand_kg"] for row in found["items"]] == [60, 60]


@pytest.mark.parametrize(
    ("asked", "parameter"),
    [("by=customer", "by"), ("window_days=0", "window_days"), ("window_days=2000", "window_days"),
     (f"as_of={ago(-2)}", "as_of"), ("as_of=2026-13-01", "as_of"), ("as_of=1", "as_of")],
)  # fmt: skip
def test_what_cannot_be_asked_is_refused_by_name(house: Api, asked: str, parameter: str) -> None:
    refusal = problem(house.send("GET", f"/cover?{asked}"), 422, "invalid")

    assert refusal["errors"][0]["parameter"] == parameter


class TestClosedDays:
    """A roastery that is closed on Sundays and on one Monday, and counts open days."""

    @pytest.fixture
    def settings(self, database_url: str) -> Settings:
        return Settings(
            database_url=database_url, hold_on_arrival=False, cover_open_days=True,
            closed_weekdays=["sunday"], closed_dates=["2026-04-06"],
            cover_windows_days=(14, 28), _env_file=None,
        )  # fmt: skip

    def test_use_is_divided_by_open_days_and_stock_lasts_over_closed_ones(self, house: Api) -> None:
        (sack,) = arrive(house, "GL-1", 74, on="2026-03-01")
        draw(house, sack, kg("24"), "2026-03-30")

        found = cover(house)
        one = only(found, "GL-1")

        # By hand: 24 kg in 12 open days of 14; 50 kg last 25, over four Sundays and a Monday.
        assert (found["counted_days"], found["open_days"]) == (12, True)
        assert (one["daily_use_kg"], one["days_of_cover"]) == (2, 25)
        assert one["runs_out_on"] == "2026-04-30"
        calendar = only(cover(house, open_days="false"), "GL-1")
        assert calendar["days_of_cover"] == kg("29.166667")
        assert calendar["runs_out_on"] == "2026-04-30"


def test_a_bakery_s_days_in_the_book_give_the_very_fractions(house: Api, bakery: Bakery) -> None:
    so_far = sum(units for day, units in bakery.sold.items() if str(day) <= "2016-12-24")
    (sack,) = arrive(house, "GL-1", 250 + so_far, on="2016-10-29")
    for day in sorted(bakery.sold):
        if str(day) <= "2016-12-27":  # some days too many: that day knows nothing of them
            draw(house, sack, Decimal(bakery.sold[day]), day)

    cases = [case for case in bakery.cases if case["stock"] == 250]
    for case in cases:
        if case["as_of"] == "2016-12-24":
            one = only(cover(house, as_of=case["as_of"], window_days=case["window_days"]), "GL-1")
            assert (one["available_kg"], one["used_kg"]) == (250, case["used_in_window"])
            assert one["days_of_cover_exact"] == case["days_of_cover"]


def test_cover_takes_the_same_number_of_statements_however_many_lots(
    house: Api, statements: Callable[[], int]
) -> None:
    def counted(by: str, as_of: Any) -> int:
        start = statements()
        cover(house, by, as_of)
        return statements() - start

    ways = [(by, day) for by in ("lot", "origin", "component", "site") for day in (ago(0), ago(9))]
    few = [counted(*way) for way in ways]
    for n in range(6):
        (sack,) = arrive(house, f"GL-{n}", 60, on=ago(20), location="Q-1")
        draw(house, sack, kg("10"), ago(3))

    assert [counted(*way) for way in ways] == few
    assert max(few) <= 12

"""The gate: losses that cannot be, organic loss, and profiles as figures."""

from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import Engine, event

from tests.api import Api, kg
from tests.makers import furnish, receive, sack_codes

HIT = {"profile_hit": True, "colour": 60, "colour_target": 60}
READ = {"kind": "moisture", "taken_at": "2026-03-03T08:00:00Z"}


@pytest.fixture(autouse=True)
def _furnished(api: Api) -> None:
    furnish(api)


def body(draws: dict[str, Any], end_kg: Any, **more: Any) -> dict[str, Any]:
    drawn = [{"sack": sack, "kg": mass} for sack, mass in draws.items()]
    at = {"roasted_at": "2026-03-04T08:00:00Z"}
    return {"machine": "DRUM-15", "draws": drawn, "end_kg": end_kg} | HIT | at | more


def test_a_slip_of_the_scale_is_refused_with_its_figures(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    # 8 to 28 %: our rule.
    sack = sack_codes(receive(api, 60))[0]

    refused = api.refuse("/roasts", body({sack: 12}, kg("8.5")), 422, "implausible-loss")
    api.refuse("/roasts", body({sack: 12}, kg("11.2")), 422, "implausible-loss")
    api.refuse("/roasts", body({sack: 12}, kg("12.3"), end_confirmed=True), 422, "mass-gained")

    assert refused["errors"][0]["pointer"] == "#/end_kg"
    assert (refused["charge_kg"], refused["end_kg"]) == (12, kg("8.5"))
    assert (refused["loss_pct"], refused["plausible_pct"]) == (kg("29.17"), [8, 28])
    assert api.get("/roasts")["items"] == []
    assert api.get(f"/sacks/{sack}")["on_hand_kg"] == 60
    book_is_sound()


def test_a_loss_that_was_weighed_twice_is_judged_as_any_other(api: Api) -> None:
    sack = sack_codes(receive(api, 60))[0]

    confirmed = api.post("/roasts", body({sack: 12}, kg("8.5"), end_confirmed=True))
    expected = api.post("/roasts", body({sack: 12}, kg("8.5"), loss_range_pct=[25, 30]))

    assert (confirmed["disposition"], expected["disposition"]) == ("set_aside", "passed")
    assert "the end weight was confirmed" in confirmed["warnings"][0]
    assert expected["warnings"] == []


def test_a_charge_over_what_the_drum_takes_is_refused(api: Api) -> None:
    # A drum of 15 kg: 12.0 kg is usual, 12.6 kg is pointed out, 15.5 kg does not go in. The ceiling
    # of about 80 % is a magazine's advice on batch size.
    sacks = sack_codes(receive(api, 60))

    usual = api.post("/roasts", body({sacks[0]: 12}, kg("10.2")))
    full = api.post("/roasts", body({sacks[0]: kg("12.6")}, kg("10.71")))
    api.refuse("/roasts", body({sacks[0]: kg("15.5")}, 13), 409, "over-capacity")

    assert usual["warnings"] == []
    assert full["warnings"] == ["the charge fills 84.0 % of the drum; 40 to 80 % is usual here"]


def test_organic_loss_is_worked_out_from_moistures_before_and_after(api: Api) -> None:
    # The definition is that of a roasting course's text on mass loss, after Schenker (2000); 2 %
    # for roasted coffee that was not measured is from memory.
    sack = sack_codes(receive(api, 60, moisture_pct=11))[0]

    made = api.post("/roasts", body({sack: 15}, kg("12.75")))
    drier = api.post("/roasts", body({sack: 15}, kg("12.75"), roasted_moisture_pct=kg("1.5")))

    assert made["organic"] == {
        "green_moisture_pct": 11, "roasted_moisture_pct": 2, "roasted_moisture": "assumed",
        "organic_loss_pct": kg("6.404"), "water_share_pct": 62, "why_not": None,
    }  # fmt: skip
    assert drier["organic"]["roasted_moisture"] == "measured"
    assert drier["organic"]["organic_loss_pct"] == kg("5.927")
    assert api.get(f"/roasts/{drier['code']}") == drier
    assert [each["organic"] for each in api.get("/roasts")["items"]] == [
        made["organic"], drier["organic"],
    ]  # fmt: skip


def test_green_of_several_lots_counts_by_its_mass(api: Api) -> None:
    # 7.2 kg at 11 % and 4.8 kg at 12 % make 11.4 %: worked out by hand.
    one = sack_codes(receive(api, 60, moisture_pct=11))[0]
    other = sack_codes(receive(api, 60, moisture_pct=9))[0]
    api.post("/readings", READ | {"subject": other, "value": 12})

    made = api.post("/roasts", body({one: kg("7.2"), other: kg("4.8")}, kg("10.2")))

    assert made["organic"]["green_moisture_pct"] == kg("11.4")
    back = api.get(f"/trace/{made['code']}?direction=backward")
    shares = {unit["code"]: unit["share_pct"] for unit in back["units"]}
    assert (shares[one], shares[other]) == (60, 40)


def test_a_moisture_counts_from_when_it_was_read_until_it_is_voided(api: Api) -> None:
    lot = receive(api, 60, lot="GL-1", moisture_pct=11)
    sack = sack_codes(lot)[0]
    late = api.post("/readings", READ | {"subject": sack, "value": 9,
                                         "taken_at": "2026-03-04T08:00:01Z"})  # fmt: skip
    of_lot = api.post("/readings", READ | {"subject": "GL-1", "value": 12})
    made = api.post("/roasts", body({sack: 15}, kg("12.75")))["code"]

    def moisture() -> Any:
        return api.get(f"/roasts/{made}")["organic"]["green_moisture_pct"]

    assert moisture() == 12
    on_time = {"taken_at": "2026-03-04T08:00:00Z"}
    api.post("/readings", READ | on_time | {"subject": sack, "value": 10})
    assert moisture() == 10
    api.post(f"/readings/{of_lot['id']}/void", {"reason": "wrong lot"})
    api.post(f"/readings/{late['id']}/void", {"reason": "wrong day"})
    assert moisture() == 10


def test_a_charge_whose_moisture_nobody_knows_has_no_organic_loss(api: Api) -> None:
    known = sack_codes(receive(api, 60, moisture_pct=11))[0]
    unknown = sack_codes(receive(api, *[60] * 5))
    sodden = sack_codes(receive(api, 60))[0]

    made = api.post("/roasts", body(dict.fromkeys([known, *unknown], 2), kg("10.2")))["organic"]
    late = api.post("/roasts", body({known: 6, sodden: 6}, kg("10.2")))["code"]
    api.post("/readings", READ | {"subject": sodden, "value": 100})
    wet = api.get(f"/roasts/{late}")["organic"]

    assert (made["green_moisture_pct"], made["organic_loss_pct"]) == (None, None)
    assert made["why_not"].startswith(
        f"no moisture of {', '.join(unknown[:3])} and 2 more was read"
    )
    assert wet["why_not"] == f"a moisture of 100 % leaves no dry matter: {sodden}"


def test_moistures_by_methods_a_point_apart_are_not_mixed(api: Api) -> None:
    # ISO 6673:2003, scope: its results are about 1.0 point below those of ISO 1446.
    sacks = sack_codes(receive(api, 60, 60))
    for sack, method in zip(sacks, ("ISO 6673", "iso1446"), strict=True):
        api.post("/readings", READ | {"subject": sack, "value": 11, "method": method})

    made = api.post("/roasts", body(dict.fromkeys(sacks, 6), kg("10.2")))["organic"]

    assert made["organic_loss_pct"] is None
    assert made["why_not"] == "moistures by methods that do not compare: ISO 6673, iso1446"


def test_a_list_of_roasts_takes_the_same_statements_however_many_there_are(
    api: Api, engine: Engine
) -> None:
    def statements() -> int:
        seen: list[str] = []
        note: Callable[..., None] = lambda *said: seen.append(said[2])  # noqa: E731
        event.listen(engine, "before_cursor_execute", note)
        api.get("/roasts")
        event.remove(engine, "before_cursor_execute", note)
        return len(seen)

    sacks = sack_codes(receive(api, 60, 60, 60, lot="GL-1", moisture_pct=11))
    api.post("/roasts", body({sacks[0]: 12}, kg("10.2")))
    one = statements()
    for sack in sacks:
        api.post("/roasts", body({sack: 12}, kg("10.2")))

    assert statements() == one


PROFILED = {"name": "Filter", "loss_pct": 15, "colour_target": 60, "drop_c": 205, "total_s": 620}


@pytest.mark.parametrize(
    ("measured", "passed"),
    # 1 °C and 15 s, ends included: our rule.
    [
        ({"drop_c": 206, "total_s": 635}, True),
        ({"drop_c": kg("206.1"), "total_s": 620}, False),
        ({"drop_c": 205, "total_s": 636}, False),
        ({"drop_c": 205}, False),
        ({"drop_c": 205, "profile_hit": True}, True),
    ],
)
def test_a_profile_in_figures_is_judged_by_them(
    api: Api, measured: dict[str, Any], passed: bool
) -> None:
    api.post("/styles", PROFILED)
    sack = sack_codes(receive(api, 60))[0]
    asked = body({sack: 12}, kg("10.2"), style="Filter") | {"profile_hit": None} | measured

    made = api.post("/roasts", asked)

    assert made["checks"][0]["passed"] is passed
    assert made["disposition"] == ("passed" if passed else "set_aside")
    assert api.get(f"/roasts/{made['code']}") == made


def test_a_word_that_its_figures_contradict_is_refused(api: Api) -> None:
    api.post("/styles", PROFILED)
    sack = sack_codes(receive(api, 60))[0]
    asked = body({sack: 12}, kg("10.2"), style="Filter", drop_c=210)

    refused = api.refuse("/roasts", asked, 422, "invalid")

    assert refused["errors"][0]["pointer"] == "#/profile_hit"
    assert "drop temperature 210 against 205.0 ± 1 °C" in refused["errors"][0]["detail"]
    assert api.get(f"/sacks/{sack}")["on_hand_kg"] == 60

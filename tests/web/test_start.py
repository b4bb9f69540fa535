"""The start page: what waits, for whom, and until when it does."""

from collections.abc import Callable, Mapping
from datetime import timedelta

from app.shared.days import today_here
from tests.api import Api, kg
from tests.makers import furnish, receive, roast, sack_codes
from tests.web.conftest import Visitor, words

NARROW = "\N{NARROW NO-BREAK SPACE}"


def _start(visitor: Visitor) -> str:
    return words(visitor.get("/")).replace(NARROW, " ")


def test_a_delivery_waits_until_as_much_came_as_its_contract_accepts(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    api.post("/contracts", {
        "reference": "PC-9", "supplier": "Finca El Roble", "quantity_kg": 600,
        "tolerance_pct": 3, "weight_basis": "landed",
        "expected_on": (today_here() + timedelta(days=2)).isoformat(),
    })  # fmt: skip
    noor = visitor_as("warehouse")

    def arrive(*net_kg: int) -> None:
        sacks = [{"net_kg": net} for net in net_kg]
        api.post("/deliveries", {
            "supplier": "Finca El Roble", "reference": "DN-1", "contract": "PC-9",
            "received_at": "2026-03-02T08:00:00Z",
            "lots": [{"name": "Sidama Washed", "origin": "ET", "sacks": sacks}],
        })  # fmt: skip

    nothing = _start(noor)
    arrive(*[60] * 4)
    part = _start(noor)
    arrive(*[60] * 5, 45)
    within = _start(noor)
    api.post("/contracts", {
        "reference": "PC-10", "supplier": "Finca El Roble", "quantity_kg": 60,
        "weight_basis": "landed", "expected_on": (today_here() - timedelta(days=9)).isoformat(),
        "ended_on": today_here().isoformat(),
    })  # fmt: skip
    ended = _start(noor)

    assert "1 delivery expected PC-9 600 kg, " in nothing
    assert "1 delivery expected PC-9 360 kg of 600 kg still to come, " in part
    assert "delivery expected" not in within, "585 kg are within 3 per cent of 600"
    assert "PC-10" not in ended, "nothing more is expected of a contract that was ended"


def test_an_arrival_waits_with_its_next_step_until_its_work_is_done_or_it_is_used_up(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-7"))
    used = sack_codes(receive(api, 60, lot="GL-8"))
    roast(api, {used[0]: 60}, 50)
    noor = visitor_as("warehouse")
    signs = (
        "musty_smell", "foreign_smell", "live_insects", "wet_marks", "mould", "husks_or_pods",
    )  # fmt: skip
    found = [_start(noor)]

    def go_on(path: str, body: Mapping[str, object]) -> None:
        api.post(path, body)
        found.append(_start(noor))

    counted = {"invoiced": 2, "sound": 2}
    draw = [{"sack": sacks[0], "kg": kg("0.3")}]
    go_on("/lots/GL-7/arrival-counts", counted | {"sound": 1})
    go_on("/lots/GL-7/arrival-counts", counted)
    go_on("/lots/GL-7/arrival-weights", {})
    go_on("/lots/GL-7/inspections", dict.fromkeys(signs, False))
    go_on("/samples", {"subject": "GL-7", "kind": "arrival", "from": draw})
    go_on("/readings", {"subject": sacks[1], "kind": "moisture", "value": 11})

    waiting = "1 arrival with work to be done GL-7 Sidama Washed: "
    steps = [each.partition(waiting)[2] for each in found]
    assert [
        each.startswith(said)
        for each, said in zip(
            steps,
            ("Count the sacks", "Count the sacks", "Weigh it", "Look at it", "Draw a", "Read its"),
            strict=False,
        )
    ] == [True] * 6
    assert "work to be done" not in found[-1]


def test_each_arrival_waits_for_its_own_count(api: Api, visitor_as: Callable[..., Visitor]) -> None:
    furnish(api)
    for lot, came in (("GL-7", 2), ("GL-8", 3), ("GL-9", 1)):
        receive(api, *[60] * came, lot=lot)
        if lot != "GL-9":
            api.post(f"/lots/{lot}/arrival-counts", {"invoiced": came, "sound": came})

    waiting = _start(visitor_as("warehouse"))

    for line in (
        "GL-7 Sidama Washed: Weigh it", "GL-8 Sidama Washed: Weigh it",
        "GL-9 Sidama Washed: Count the sacks",
    ):  # fmt: skip
        assert line in waiting


def test_the_sacks_of_today_wait_until_they_stand_beside_the_roaster(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    api.post("/locations", {"code": "DRUM-SIDE", "kind": "roaster_side"})
    api.post("/locations", {"code": "PORT", "kind": "external"})
    api.post("/locations", {"code": "PORT-1", "kind": "rack", "parent": "PORT"})
    held, away, whole, drawn, last = sack_codes(receive(api, *[60] * 5, lot="GL-7"))
    api.post("/moves", {"sacks": [held, whole, drawn], "to": "A-01"})
    api.post("/moves", {"sacks": [away], "to": "PORT-1"})
    roast(api, {drawn: 20}, 17)
    api.post("/holds", {"units": [held], "reason": "a torn seam"})
    api.post("/styles", {"name": "House", "machine": "DRUM-75", "batch_kg": 55})
    noor, rufus = visitor_as("warehouse"), visitor_as("roaster")
    nothing = _start(noor)
    batch = {"style": "House", "green": [{"lot": "GL-7", "kg": 55}]}
    later = (today_here() + timedelta(days=1)).isoformat()
    api.post("/batches", batch | {"on": "2026-03-02", "count": 2})
    api.post("/batches", batch | {"on": later, "count": 1})

    statements()
    planned, of_planned = _start(noor), statements()
    also, bring = _start(rufus), words(noor.get("/bring")).replace(NARROW, " ")
    api.post("/moves", {"sacks": [drawn, whole], "to": "DRUM-SIDE"})
    one_left = _start(noor)
    filled_in = noor.get(f"/bring?sacks={last}").text
    api.post("/moves", {"sacks": [last], "to": "DRUM-SIDE"})
    all_there = _start(noor)

    three = f"{whole} A-01, 60 kg {drawn} A-01, 40 kg {last} at no place, 10 kg"
    assert f"3 sacks to be brought to the drum {three}" in planned
    assert three in also
    for said in (f"{drawn} A-01 all, 40 kg", f"{whole} A-01 all, 60 kg", f"{last} at no place"):
        assert said in bring, "the page of the task names the same"
    assert f"1 sack to be brought to the drum {last} at no place, 10 kg" in one_left
    assert last in filled_in.partition("<textarea")[2].partition("</textarea>")[0]
    assert "to be brought" not in nothing + all_there
    assert of_planned <= 12

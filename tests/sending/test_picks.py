"""Picks: the oldest best-before first, bags that are kept, and a reason for anything else."""

from collections import Counter
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from functools import partial
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.ledger.queries import units_by_code
from app.sending.free import kept_bags
from app.sending.picking.rules import PickState, Stock, WhyNot, state_of, suggest, why_not
from app.settings import Settings
from app.shared.db import reading
from app.standards.handling import IN_LOADS
from tests.api import Api, problem
from tests.makers import dispatch, pack
from tests.serving import Wire, at_once

TODAY = date(2026, 11, 25)
PACKED = datetime(2026, 3, 4, tzinfo=UTC)


def stock(number: int, best_before: str | None = None, **more: Any) -> Stock:
    facts: dict[str, Any] = {
        "id": number, "code": f"P{number}", "product_id": 1, "sku": "H", "nominal_g": 250,
        "lot_mark": f"L P{number}", "packed_at": PACKED, "left": 10, "kept": 0, "in_cases": 0,
        "best_before": date.fromisoformat(best_before) if best_before else None,
        "held": False, "weight_rejected": False,
    }  # fmt: skip
    return Stock(**(facts | more))


def taken(stocks: list[Stock], bags: int) -> list[tuple[int, int]]:
    found, _ = suggest(stocks, {1: bags}, TODAY)
    return [(each.stock.id, each.bags) for each in found]


@pytest.mark.parametrize(("bags", "expected"), [
    # First expired, first out; bags without a date last, then the oldest packed: our rule.
    (1, [(3, 1)]),
    (10, [(3, 10)]),
    (11, [(3, 10), (1, 1)]),
    (25, [(3, 10), (1, 10), (4, 5)]),
    (40, [(3, 10), (1, 10), (4, 10), (2, 10)]),
    (41, [(3, 10), (1, 10), (4, 10), (2, 10)]),
])  # fmt: skip
def test_the_oldest_best_before_goes_first(bags: int, expected: list[tuple[int, int]]) -> None:
    earlier = PACKED - timedelta(days=9)
    stocks = [
        stock(1, "2027-02-01"), stock(2), stock(3, "2027-01-31"), stock(4, packed_at=earlier),
    ]  # fmt: skip

    assert taken(stocks, bags) == expected


def test_what_is_short_is_said() -> None:
    _, short = suggest([stock(1, kept=4), stock(2, left=1)], {1: 8, 2: 3}, TODAY)

    assert [(each.product_id, each.asked, each.found) for each in short] == [(1, 8, 7), (2, 3, 0)]


@pytest.mark.parametrize(("more", "why"), [
    ({}, None),
    ({"held": True}, WhyNot.HELD),
    ({"weight_rejected": True}, WhyNot.WEIGHT_REJECTED),
    ({"kept": 9}, None),
    ({"kept": 10}, WhyNot.KEPT),
    ({"kept": 11}, WhyNot.KEPT),
    ({"best_before": "2026-11-25"}, None),  # the day itself still counts
    ({"best_before": "2026-11-24"}, WhyNot.PAST_BEST_BEFORE),
])  # fmt: skip
def test_what_is_not_free_or_past_its_date_is_not_suggested(
    more: dict[str, Any], why: WhyNot | None
) -> None:
    assert why_not(stock(1, **more), TODAY) is why


@pytest.fixture
def shelf(api: Api, roasts: list[str]) -> None:
    """Three packs of 20 bags: NEW, OLD, which goes first, and one past its date."""
    of = {roasts[0]: 5}
    for code, until in (("NEW", "2099-06-30"), ("OLD", "2099-01-31")):
        pack(api, of, bags=20, code=code, best_before=until)
    day = {"packed_at": "2026-01-05T08:00:00Z", "best_before": "2026-01-31"}
    pack(api, of, bags=20, code="PAST", **day)


def want(bags: int, sku: str = "HOUSE-250") -> dict[str, Any]:
    return {"lines": [{"product": sku, "bags": bags}]}


def lines(answer: dict[str, Any]) -> list[tuple[str, int]]:
    return [(line["pack"], line["bags"]) for line in answer["lines"]]


@pytest.mark.usefixtures("shelf")
def test_bags_past_their_date_and_held_ones_are_named_apart_and_what_is_short_is_said(
    api: Api, roasts: list[str]
) -> None:
    pack(api, {roasts[1]: 5}, bags=20, code="HELD")
    api.post("/holds", {"units": ["HELD"], "reason": "complaint"})
    pack(api, {roasts[1]: 5}, bags=20, code="THIN")
    pack(api, {roasts[1]: 5}, bags=20, code="SLIP")
    api.post("/units/SLIP/void", {"reason": "booked twice"})
    weighed = api.post("/packs/THIN/check-weighings", {"weights_g": [200] * 20, "batch_bags": 20})

    answer = api.get("/picks/suggestion?want=house-250:41&want=HOUSE-2000:1")

    assert weighed["finding"] == "rejected"
    assert lines(answer) == [("OLD", 20), ("NEW", 20)]
    assert answer["short"] == [
        {"product": "HOUSE-250", "asked": 41, "found": 40, "short": 1},
        {"product": "HOUSE-2000", "asked": 1, "found": 0, "short": 1},
    ]
    assert answer["past_best_before"] == [
        {"pack": "PAST", "product": "HOUSE-250", "bags": 20, "best_before": "2026-01-31",
         "why": "past_best_before"},
    ]  # fmt: skip
    assert [(each["pack"], each["why"]) for each in answer["left_out"]] == [
        ("HELD", "held"), ("THIN", "held"),
    ]  # fmt: skip
    assert "safe" not in str(answer).lower()


@pytest.mark.usefixtures("shelf")
def test_a_rejected_weight_is_left_out_also_where_it_places_no_hold(
    api: Api, service: FastAPI, settings: Settings
) -> None:
    service.state.settings = settings.model_copy(update={"hold_on_failed_weighing": False})
    api.post("/packs/OLD/check-weighings", {"weights_g": [200] * 20, "batch_bags": 20})

    answer = api.get("/picks/suggestion?want=HOUSE-250:20")

    assert lines(answer) == [("NEW", 20)]
    assert [(each["pack"], each["why"]) for each in answer["left_out"]] == [
        ("OLD", "weight_rejected")
    ]


@pytest.mark.usefixtures("shelf")
def test_a_rejected_weight_that_was_never_taken_leaves_nothing_out(
    api: Api, service: FastAPI, settings: Settings
) -> None:
    service.state.settings = settings.model_copy(update={"hold_on_failed_weighing": False})
    check = api.post("/packs/OLD/check-weighings", {"weights_g": [200] * 20, "batch_bags": 20})

    api.post(f"/check-weighings/{check['id']}/void", {"reason": "the scale was not zeroed"})

    assert lines(api.get("/picks/suggestion?want=HOUSE-250:20")) == [("OLD", 20)]


@pytest.mark.usefixtures("shelf")
def test_bags_that_came_back_and_were_released_go_by_the_date_on_them(api: Api) -> None:
    sent = dispatch(api, {"OLD": 5})["code"]
    back = api.post("/returns", {
        "dispatch": sent, "lines": [{"pack": "OLD", "bags": 3}], "reason": "unsold",
    })  # fmt: skip
    before = lines(api.get("/picks/suggestion?want=HOUSE-250:20"))
    api.post(f"/holds/{back['hold']}/release", {"reason": "sound"})

    after = api.get("/picks/suggestion?want=HOUSE-250:20")

    assert before == [("OLD", 15), ("NEW", 5)]
    assert lines(after) == [("OLD", 15), (back["code"], 3), ("NEW", 2)]
    assert after["lines"][1]["lot_mark"] == "L OLD"


@pytest.mark.usefixtures("shelf")
def test_picked_bags_are_kept_until_they_are_sent_with_the_pick(api: Api) -> None:
    made = api.post("/picks", want(25) | {"customer": "Café Nord"})
    nord = {"customer": "Café Nord", "lines": [{"pack": "OLD", "bags": 20}]}

    refused = api.refuse("/dispatches", nord, 409, "not-free")
    next_pick = api.get("/picks/suggestion?want=HOUSE-250:15")
    sent = api.post("/dispatches", nord | {"pick": made["id"]})

    assert lines(made) == [("OLD", 20), ("NEW", 5)]
    assert (made["state"], made["as_suggested"], made["wanted"]) == (
        "open", True, [{"product": "HOUSE-250", "bags": 25}],
    )  # fmt: skip
    assert (refused["unit"], refused["free_bags"], refused["left_bags"]) == ("OLD", 0, 20)
    assert lines(next_pick) == [("NEW", 15)]
    ended = api.get(f"/picks/{made['id']}")
    assert (ended["state"], ended["dispatch"]) == ("dispatched", sent["code"])
    assert api.get(f"/dispatches/{sent['code']}") == sent
    assert sent["pick"] == made["id"]
    dispatch(api, {"NEW": 20})  # what the pick kept and did not send is free again
    api.refuse("/dispatches", nord | {"pick": made["id"]}, 409, "already-done")
    assert api.get("/picks?open=true")["items"] == []


@pytest.mark.usefixtures("shelf")
def test_a_pick_goes_with_its_dispatch_however_often_that_is_corrected(api: Api) -> None:
    made = api.post("/picks", want(20))
    dispatch(api, {"OLD": 20}, code="D-1", pick=made["id"])
    for code, bags in (("D-2", 19), ("D-3", 18)):
        wrong = {"corrects": f"D-{int(code[2]) - 1}", "correction_reason": "miscounted"}
        dispatch(api, {"OLD": bags}, code=code, pick=made["id"], **wrong)

    ended = api.get(f"/picks/{made['id']}")

    assert (ended["state"], ended["dispatch"]) == ("dispatched", "D-3")
    assert api.get("/dispatches/D-3")["pick"] == made["id"]
    other = {"customer": "Café Nord", "lines": [{"pack": "OLD", "bags": 1}], "pick": made["id"]}
    assert "D-3" in api.refuse("/dispatches", other, 409, "already-done")["detail"]


@pytest.mark.usefixtures("shelf")
def test_two_picks_at_once_never_keep_the_same_bags(wire: Wire) -> None:
    answers = at_once([partial(wire.post, "/picks", want(15))] * 5)

    assert Counter(answer.status_code for answer in answers) == {201: 2, 409: 3}
    for answer in answers:
        if answer.status_code == 409:
            problem(answer, 409, "insufficient-stock")
    kept: Counter[str] = Counter()
    for answer in answers:
        if answer.status_code == 201:
            kept.update(dict(lines(answer.json())))
    assert kept == {"OLD": 20, "NEW": 10}


@pytest.mark.usefixtures("shelf")
def test_a_cancelled_pick_gives_its_bags_free(api: Api) -> None:
    first = api.post("/picks", want(40))
    short = api.refuse("/picks", want(1), 409, "insufficient-stock")
    cancelled = api.post(f"/picks/{first['id']}/cancel", {"reason": "the order was withdrawn"})
    second = api.post("/picks", want(40))

    assert short["short"] == [{"product": "HOUSE-250", "asked": 1, "found": 0, "short": 1}]
    assert (cancelled["state"], cancelled["cancel_reason"]) == (
        "cancelled", "the order was withdrawn",
    )  # fmt: skip
    api.refuse(f"/picks/{first['id']}/cancel", {"reason": "again"}, 409, "already-done")
    assert lines(second) == [("OLD", 20), ("NEW", 20)]
    assert [each["state"] for each in api.get("/picks")["items"]] == ["cancelled", "open"]


@pytest.mark.usefixtures("shelf")
def test_a_pick_keeps_its_bags_until_its_time_has_passed(api: Api, engine: Engine) -> None:
    made = api.post("/picks", want(25))
    until = datetime.fromisoformat(made["kept_until"])

    with reading(engine) as session:
        packs = {unit.code: unit.id for unit in units_by_code(session, ["OLD", "NEW"]).values()}
        before = kept_bags(session, packs.values(), until - timedelta(microseconds=1))
        after = kept_bags(session, packs.values(), until)

    assert until - datetime.fromisoformat(made["picked_at"]) == timedelta(hours=48)
    assert before == {packs["OLD"]: 20, packs["NEW"]: 5}
    assert after == {}


@pytest.mark.parametrize(("ended", "sent", "later", "state"), [
    (False, False, timedelta(), PickState.LAPSED),
    (False, False, timedelta(microseconds=-1), PickState.OPEN),
    (True, False, timedelta(), PickState.CANCELLED),
    (True, True, timedelta(), PickState.DISPATCHED),
])  # fmt: skip
def test_a_pick_is_open_until_it_ends_or_its_time_has_passed(
    ended: bool, sent: bool, later: timedelta, state: PickState
) -> None:
    assert state_of(PACKED, PACKED + later, ended=ended, sent=sent) is state


@pytest.mark.usefixtures("shelf")
def test_other_bags_need_a_reason_and_are_told_the_suggestion(api: Api) -> None:
    body = want(5) | {"packs": [{"pack": "PAST", "bags": 5}]}

    refused = api.refuse("/picks", body, 422, "invalid")
    made = api.post("/picks", body | {"reason": "staff coffee"})

    assert [error["pointer"] for error in refused["errors"]] == ["#/reason"]
    assert refused["suggestion"] == [{"pack": "OLD", "bags": 5}]
    assert lines(made) == [("PAST", 5)]
    assert (made["as_suggested"], made["reason"]) == (False, "staff coffee")


@pytest.mark.usefixtures("shelf")
def test_bags_somebody_chose_are_there_free_and_of_what_is_wanted(
    api: Api, roasts: list[str]
) -> None:
    pack(api, {roasts[1]: 4}, bags=2, sku="HOUSE-2000", code="BIG")
    api.post("/picks", want(15))
    reason = {"reason": "nearer the door"}

    def refuse(pack_code: str, bags: int, status: int, slug: str) -> Any:
        body = want(20) | {"packs": [{"pack": pack_code, "bags": bags}]} | reason
        return api.refuse("/picks", body, status, slug)

    assert refuse("BIG", 1, 422, "invalid")["errors"][0]["pointer"] == "#/packs/0/pack"
    assert refuse("OLD", 6, 409, "not-free")["free_bags"] == 5
    assert refuse("OLD", 21, 409, "insufficient-stock")["left_bags"] == 20
    assert refuse("GL-1", 1, 409, "wrong-kind")
    assert refuse("P-404", 1, 404, "unknown-code")
    api.post("/holds", {"units": ["NEW"], "reason": "complaint"})
    refuse("NEW", 1, 409, "on-hold")
    assert len(api.get("/picks")["items"]) == 1


@pytest.mark.usefixtures("shelf")
def test_a_pick_is_for_its_customer_alone(api: Api) -> None:
    api.post("/customers", {"name": "Bistro Sud"})
    api.post("/picks", want(5) | {"customer": "Café Nord"})
    body = {"customer": "Bistro Sud", "lines": [{"pack": "OLD", "bags": 5}]}

    [error] = api.refuse("/dispatches", body | {"pick": 1}, 422, "invalid")["errors"]

    assert error["pointer"] == "#/pick"
    api.refuse("/dispatches", body | {"pick": 2}, 422, "unknown-reference")
    assert api.get("/picks/1")["state"] == "open"


@pytest.mark.usefixtures("shelf")
def test_bags_in_cases_are_picked_too_and_say_so(api: Api, roasts: list[str]) -> None:
    pack(api, {roasts[1]: 26}, bags=13, sku="HOUSE-2000", code="BIG")
    api.post("/cases", {"code": "CASE-1", "contents": [{"pack": "BIG", "bags": 13}]})

    made = api.post("/picks", want(13, "HOUSE-2000"))
    body = {"customer": "Café Nord", "lines": [{"case": "CASE-1"}]}
    api.refuse("/dispatches", body, 409, "not-free")
    api.post("/dispatches", body | {"pick": made["id"]})

    [line] = made["lines"]
    assert (line["in_cases"], line["kg"], line["caution"]) == (13, 26, IN_LOADS)


@pytest.mark.usefixtures("shelf")
def test_a_pick_for_an_order_fetches_what_it_still_wants_and_its_dispatch_fills_it(
    api: Api,
) -> None:
    line = {"product": "HOUSE-250", "bags": 25}
    order = {"code": "SO-1", "customer": "Café Nord", "due_on": "2099-01-01", "lines": [line]}
    api.post("/orders", order)
    dispatch(api, {"OLD": 3}, order="SO-1")
    suggested = api.get("/picks/suggestion?order=so-1")

    made = api.post("/picks", {"order": "SO-1"})
    sent = api.post("/dispatches", {
        "customer": "Café Nord", "pick": made["id"],
        "lines": [{"pack": "OLD", "bags": 17}, {"pack": "NEW", "bags": 5}],
    })  # fmt: skip

    assert (suggested["order"], suggested["wanted"]) == ("SO-1", [line | {"bags": 22}])
    assert lines(made) == lines(suggested) == [("OLD", 17), ("NEW", 5)]
    assert (made["order"], made["customer"]) == ("SO-1", "Café Nord")
    assert (sent["order"], sent["warnings"]) == ("SO-1", [])
    assert api.get("/orders/SO-1")["state"] == "sent"
    api.refuse("/picks", {"order": "SO-1"}, 409, "order-state")


@pytest.mark.usefixtures("shelf")
def test_a_dispatch_is_for_the_order_of_its_pick_and_no_other(api: Api) -> None:
    line = {"product": "HOUSE-250", "bags": 5}
    order = {"customer": "Café Nord", "due_on": "2099-01-01", "lines": [line]}
    for code in ("SO-1", "SO-2"):
        api.post("/orders", order | {"code": code})
    made = api.post("/picks", {"order": "SO-1"})
    body = {"customer": "Café Nord", "pick": made["id"], "lines": [{"pack": "OLD", "bags": 5}]}

    [error] = api.refuse("/dispatches", body | {"order": "SO-2"}, 422, "invalid")["errors"]

    assert error["pointer"] == "#/pick"
    api.refuse("/picks", {"order": "SO-9"}, 422, "unknown-reference")
    api.refuse("/picks", {"order": "SO-1", "lines": [line]}, 422, "invalid")
    api.refuse("/picks", {}, 422, "invalid")
    assert len(api.get("/picks?open=true")["items"]) == 1


@pytest.mark.usefixtures("shelf")
def test_a_question_that_is_not_right_is_refused(api: Api) -> None:
    for query, slug in (
        ("", "invalid"),
        ("order=SO-9", "unknown-reference"),
        ("order=SO-9&want=HOUSE-250:1", "invalid"),
        ("want=HOUSE-250", "invalid"),
        ("want=HOUSE-250:0", "invalid"),
        ("want=HOUSE-250:1.5", "invalid"),
        ("want=HOUSE-250:1&want=house-250:2", "invalid"),
        ("want=HOUSE-250:9999999", "invalid"),
        ("want=NONE:1", "unknown-reference"),
    ):
        [error] = problem(api.send("GET", f"/picks/suggestion?{query}"), 422, slug)["errors"]
        assert error["parameter"] == ("order" if query == "order=SO-9" else "want")


@pytest.mark.parametrize(("role", "status"), [("warehouse", 422), ("roaster", 403)])
def test_who_sends_makes_picks(api_as: Callable[..., Api], role: str, status: int) -> None:
    assert api_as(role).send("POST", "/picks", {}).status_code == status


def test_the_dispatch_of_a_pick_can_be_corrected_as_often_as_it_takes(api: Api, bags: str) -> None:
    api.post("/picks", want(5))
    sent = dispatch(api, {bags: 5}, pick=1)["code"]

    for count in (4, 3):
        slip = {"corrects": sent, "correction_reason": "miscounted"}
        sent = dispatch(api, {bags: count}, pick=1, **slip)["code"]

    body = {"customer": "Café Nord", "lines": [{"pack": bags, "bags": 1}], "pick": 1}
    api.refuse("/dispatches", body, 409, "already-done")
    assert api.get(f"/packs/{bags}")["bags_left"] == 96

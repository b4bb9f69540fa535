"""A claim survives only while every lot behind a unit carries it."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from app.green.certificates.rules import Certified, Lack, OnRecord, claims_of, judge
from tests.api import Api, kg, problem
from tests.green.test_certificates import ORGANIC, put
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes

FAIR = ORGANIC | {"code": "FAIR-3", "scheme": "Fair dealing", "claim": "fair", "number": "FD 3"}
CARD = OnRecord(
    certificate="ORG-7", scheme="Organic", claim="organic", number="7", body=None,
    valid_from=date(2026, 1, 1), valid_until=date(2026, 12, 31), withdrawn_on=None,
    taken_back=None,
)  # fmt: skip


@pytest.fixture
def certified(api: Api) -> Api:
    """A roastery with GL-1 organic and fair, GL-2 organic, GL-3 conventional."""
    furnish(api)
    for number in (1, 2, 3):
        receive(api, 60, 60, lot=f"GL-{number}")
    api.post("/certificates", ORGANIC)
    api.post("/certificates", FAIR)
    put(api, "GL-1")
    put(api, "GL-1", "FAIR-3")
    put(api, "GL-2")
    return api


def sack(api: Api, lot: str) -> str:
    code: str = api.get(f"/sacks?lot={lot}&on_hand=true")["items"][-1]["code"]
    return code


def carried(api: Api, code: str) -> list[str]:
    answer = api.get(f"/claims/{code}")
    assert answer["carried"] == [each["claim"] for each in answer["claims"] if each["carried"]]
    names: list[str] = answer["carried"]
    return names


def because(api: Api, code: str, claim: str) -> list[tuple[str, str, str | None]]:
    [judged] = [each for each in api.get(f"/claims/{code}")["claims"] if each["claim"] == claim]
    assert judged["carried"] is not bool(judged["because"])
    return [(each["lot"], each["lack"], each["certificate"]) for each in judged["because"]]


def test_a_blend_of_an_organic_and_a_conventional_lot_loses_the_claim(
    certified: Api, book_is_sound: Callable[[], None]
) -> None:
    # Our rule.
    organic = roast(certified, {sack(certified, "GL-1"): 60}, 51)["code"]
    conventional = roast(certified, {sack(certified, "GL-3"): 1}, kg("0.85"))["code"]
    pure = pack(certified, {organic: 10}, 40)
    mixed = blend(certified, {organic: 40, conventional: kg("0.001")})["code"]
    bags = pack(certified, {mixed: 10}, 40)
    sent = dispatch(certified, {bags["code"]: 4})["code"]
    lines = [{"pack": bags["code"], "bags": 1}]
    back = certified.post("/returns", {"dispatch": sent, "lines": lines, "reason": "torn"})
    returned = back["lines"][0]["code"]

    assert (pure["claims"], bags["claims"]) == (["fair", "organic"], [])
    assert certified.get(f"/packs/{pure['code']}")["claims"] == ["fair", "organic"]
    assert certified.get(f"/packs/{bags['code']}")["claims"] == []
    for code in ("GL-1", sack(certified, "GL-1"), organic, pure["code"]):
        assert carried(certified, code) == ["fair", "organic"]
    for code in (mixed, bags["code"], sent, returned):
        assert carried(certified, code) == []
        assert because(certified, code, "organic") == [("GL-3", "none_on_record", None)]
    book_is_sound()


def test_of_two_certified_lots_the_claims_of_both_survive_and_no_other(certified: Api) -> None:
    both = {sack(certified, "GL-1"): 30, sack(certified, "GL-2"): 30}
    made = roast(certified, both, 51)["code"]

    answer = certified.get(f"/claims/{made}")

    assert answer["of"] == {"code": made, "kind": "roast"}
    assert answer["lots"] == ["GL-1", "GL-2"]
    assert answer["carried"] == ["organic"]
    fair, organic = answer["claims"]
    assert fair["because"] == [
        {
            "lot": "GL-2", "lack": "none_on_record", "certificate": None,
            "why": "no certificate on record",
        }
    ]  # fmt: skip
    assert [each["lots"] for each in fair["certificates"]] == [["GL-1"]]
    assert organic["certificates"] == [
        {
            "certificate": "ORG-7", "scheme": ORGANIC["scheme"], "number": ORGANIC["number"],
            "body": ORGANIC["body"], "lots": ["GL-1", "GL-2"],
        }
    ]  # fmt: skip
    for word in ("records", "control body", "labelling law", "apart"):
        assert word in answer["caution"]


@pytest.mark.parametrize(
    ("dates", "lack"),
    [
        # Our rule: the status on the day of the movement; the lots come on 2 March 2026.
        ({"valid_from": "2026-03-02"}, None),
        ({"valid_from": "2026-03-03"}, "not_yet_valid"),
        ({"valid_until": "2026-03-02"}, None),
        ({"valid_until": "2026-03-01"}, "expired"),
        ({"valid_until": None}, None),
        ({"withdrawn_on": "2026-03-03"}, None),
        ({"withdrawn_on": "2026-03-02"}, "withdrawn"),
        ({"withdrawn_on": "2026-03-01"}, "withdrawn"),
    ],
)
def test_a_certificate_counts_when_it_was_valid_on_the_day_the_lot_was_received(
    certified: Api, dates: dict[str, Any], lack: str | None
) -> None:
    certified.post("/certificates", ORGANIC | {"code": "ORG-8"} | dates)

    put(certified, "GL-3", "ORG-8")

    assert carried(certified, "GL-3") == ([] if lack else ["organic"])
    assert certified.get("/lots/GL-3")["claims"] == ([] if lack else ["organic"])
    if lack:
        assert because(certified, "GL-3", "organic") == [("GL-3", lack, "ORG-8")]


def test_a_claim_that_is_lost_later_is_lost_in_all_that_was_made_and_regained_too(
    certified: Api,
) -> None:
    made = roast(certified, {sack(certified, "GL-2"): 60}, 51)["code"]
    bags = pack(certified, {made: 10}, 40)["code"]
    [link] = certified.get("/lots/GL-2/certificates")["items"]

    before = carried(certified, bags)
    path = f"/lots/GL-2/certificates/{link['id']}/withdraw"
    certified.post(path, {"reason": "it names another lot"})

    assert before == ["organic"]
    assert carried(certified, bags) == certified.get(f"/packs/{bags}")["claims"] == []
    assert because(certified, bags, "organic") == [("GL-2", "taken_back", "ORG-7")]
    [judged] = certified.get(f"/claims/{bags}")["claims"]
    assert judged["because"][0]["why"] == "ORG-7 taken back: it names another lot"
    put(certified, "GL-2")
    assert carried(certified, bags) == ["organic"]


def test_a_certificate_withdrawn_by_its_body_takes_the_claim_from_what_came_after(
    certified: Api,
) -> None:
    delivery = {
        "supplier": "Finca El Roble", "received_at": "2026-05-02T08:00:00Z",
        "lots": [{"code": "GL-8", "name": "Later", "origin": "ET", "sacks": [{"net_kg": 60}]}],
    }  # fmt: skip
    certified.post("/deliveries", delivery)
    put(certified, "GL-8")

    before = carried(certified, "GL-8")
    said = {"withdrawn_on": "2026-05-02"}
    changed = certified.send("PATCH", "/certificates/ORG-7", said, If_Match='"1"')

    assert (before, changed.status_code) == (["organic"], 200)
    assert carried(certified, "GL-1") == ["fair", "organic"]
    assert carried(certified, "GL-8") == []
    [judged] = certified.get("/claims/GL-8")["claims"]
    assert judged["because"][0]["why"] == "ORG-7 withdrawn 2026-05-02"


def test_claims_of_what_is_not_there_or_never_was_are_refused(certified: Api) -> None:
    made = roast(certified, {sack(certified, "GL-1"): 60}, 51)["code"]
    certified.post(f"/units/{made}/void", {"reason": "typed twice"})

    problem(certified.send("GET", f"/claims/{made}"), 409, "voided")
    problem(certified.send("GET", "/claims/GL-404"), 404, "unknown-code")


def test_what_nobody_certified_carries_nothing(certified: Api) -> None:
    made = pack(certified, {roast(certified, {sack(certified, "GL-3"): 60}, 51)["code"]: 10}, 40)

    answer = certified.get(f"/claims/{made['code']}")

    assert (answer["lots"], answer["claims"], answer["carried"]) == (["GL-3"], [], [])


def test_no_lot_at_all_carries_no_claim_and_an_expired_beside_a_valid_one_does_no_harm() -> None:
    expired = CARD._replace(certificate="ORG-6", valid_until=date(2026, 2, 1))
    lot = Certified("GL-1", date(2026, 3, 2), [expired, CARD])
    late = Certified("GL-2", date(2027, 1, 1), [expired, CARD])

    [both] = judge([lot, late])

    assert judge([]) == []
    assert claims_of(lot) == {"organic"}
    assert claims_of(late) == set()
    assert not both.carried
    assert [(each.lot, each.lack, each.certificate) for each in both.lacking] == [
        ("GL-2", Lack.EXPIRED, "ORG-6"), ("GL-2", Lack.EXPIRED, "ORG-7"),
    ]  # fmt: skip
    assert list(both.certificates.values()) == [["GL-1"]]
    assert [judged.carried for judged in judge([lot])] == [True]


def test_many_sacks_of_one_lot_are_one_lot_behind(certified: Api) -> None:
    lot = receive(certified, *[1] * 30, lot="GL-30")
    put(certified, "GL-30")
    draws = dict.fromkeys(sack_codes(lot), 1)

    made = roast(certified, draws, kg("25.5"))["code"]

    assert certified.get(f"/claims/{made}")["lots"] == ["GL-30"]
    assert carried(certified, made) == ["organic"]

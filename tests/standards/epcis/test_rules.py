"""What the schema lets pass and sense does not, on altered documents of a made roastery."""

from collections.abc import Callable
from copy import deepcopy
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest

from app.standards.epcis.rules import Rule, flaws_of_events
from app.standards.epcis.shape import Flaw, events_of, flaws_of_shape
from app.standards.epcis.stock import Unknown, follow, in_order, standing

NOW = datetime(2026, 12, 1, tzinfo=UTC)
"""After all of the made roastery's events."""

LEFT_TO_US = {
    "uom KG (two letters, not Rec 20 kilogram)": Rule.UNIT,
    "negative quantity": Rule.QUANTITY,
    "did_not_occur together with correctiveEventIDs (CBV forbids)": Rule.DID_NOT_OCCUR,
    "sensor time later than eventTime": Rule.SENSOR_TIME,
    "aggregation ADD without parentID": Rule.PARENT,
    "duplicate epcClass in inputQuantityList": Rule.TWICE,
    "bad GTIN check digit inside epcClass": Rule.CHECK_DIGIT,
    "mass created: output 300 kg from 30 kg": Rule.GAINED,
}
"""What the official schema accepts and is wrong, by the rule that says so."""

Placed = list[tuple[str, dict[str, Any]]]


def placed(document: dict[str, Any]) -> Placed:
    base, events = events_of(document)
    return [(f"{base}/{number}", event) for number, event in enumerate(events)]


def flaws(document: dict[str, Any]) -> list[Flaw]:
    events = placed(document)
    return [*flaws_of_events(events, NOW), *follow(events).flaws]


def test_what_the_schema_accepts_and_is_wrong_is_refused_by_a_rule(
    judged: list[dict[str, Any]],
) -> None:
    accepted = [case for case in judged if case["schema_result"] == "accepted"]
    broken = {case["case"]: {flaw.rule for flaw in flaws(case["document"])} for case in accepted}

    assert len(accepted) == 13
    assert {name for name, rules in broken.items() if rules} == LEFT_TO_US.keys()
    assert all(rule in broken[name] for name, rule in LEFT_TO_US.items())


def test_the_official_examples_break_no_rule_but_those_that_show_every_field_at_once(
    examples: dict[str, Any],
) -> None:
    broken = {name: {flaw.rule for flaw in flaws(each)} for name, each in examples.items()}

    # They say the same of a sensor in two places, and read it after the event, which EPCIS 2.0
    # forbids of sensor elements.
    every = {f"{kind}_event_all_possible_fields.jsonld" for kind in
             ("aggregation", "association", "object", "transaction", "transformation")}  # fmt: skip
    assert {name for name, rules in broken.items() if rules} == every
    assert {rule for rules in broken.values() for rule in rules} == {
        Rule.TOLD_TWICE, Rule.SENSOR_TIME,
    }  # fmt: skip


def test_the_made_roastery_breaks_no_rule_and_names_what_comes_from_nowhere(
    roastery: dict[str, Any],
) -> None:
    found = follow(placed(roastery))

    assert flaws(roastery) == []
    # Left out on purpose, as the fixture's description says: a roast and a lot of liners.
    assert found.unknown == [
        Unknown(
            "#/epcisBody/eventList/8/inputQuantityList/1",
            "https://id.gs1.org/01/09521234000020/10/RB20261104-01",
        ),
        Unknown(
            "#/epcisBody/eventList/9/inputQuantityList/1",
            "https://id.gs1.org/01/09521234000907/10/PK7781",
        ),
    ]


def test_what_was_declared_wrong_counts_no_more_and_its_correction_does(
    roastery: dict[str, Any],
) -> None:
    """EPCIS 2.0, error declarations: an event declared wrong is as if it had never been there."""
    roasts = [
        event
        for _, event in standing(placed(roastery))
        if event.get("ilmd", {}).get("cbvmda:lotNumber") == "RB20261105-03"
    ]

    assert len(roasts) == 1
    assert roasts[0]["inputQuantityList"][1]["quantity"] == Decimal("10.3")


Change = Callable[[list[dict[str, Any]]], None]


def _set(number: int, *path: str | int, to: object) -> Change:
    def change(events: list[dict[str, Any]]) -> None:
        place: Any = events[number]
        for step in path[:-1]:
            place = place[step]
        place[path[-1]] = to

    return change


def _again(events: list[dict[str, Any]]) -> None:
    """Make the same lot of bags a second time, out of what is left."""
    more = deepcopy(events[9])
    more["eventID"] = "urn:uuid:again"
    more["inputQuantityList"] = [
        {"epcClass": "https://id.gs1.org/01/09521234000013/10/GL24017-S02",
         "quantity": Decimal(1), "uom": "KGM"},
    ]  # fmt: skip
    events.append(more | {"eventTime": "2026-11-20T08:00:00Z"})


def _of_held(events: list[dict[str, Any]]) -> None:
    """Roast out of a sack while it is on hold."""
    more = deepcopy(events[7])
    more |= {"eventID": "urn:uuid:held", "eventTime": "2026-11-13T12:00:00Z"}
    more["inputQuantityList"] = more["inputQuantityList"][1:]
    more["outputQuantityList"] = [
        {"epcClass": "https://id.gs1.org/01/09521234000020/10/RB-HELD", "quantity": Decimal(8),
         "uom": "KGM"},
    ]  # fmt: skip
    events.append(more)


@pytest.mark.parametrize(
    ("rule", "pointer", "change"),
    [
        (Rule.AHEAD, "1/eventTime", _set(1, "eventTime", to="2026-12-02T00:00:00Z")),
        (Rule.QUANTITY, "1/quantityList/0/quantity", _set(1, "quantityList", 0, "quantity",
         to=Decimal(0))),
        (Rule.QUANTITY, "10/childQuantityList/0/quantity", _set(10, "childQuantityList", 0,
         "quantity", to=Decimal("11.5"))),
        (Rule.CHECK_DIGIT, "1/sourceList/0/source", _set(1, "sourceList", 0, "source",
         to="https://id.gs1.org/417/9529999000018")),
        (Rule.TOLD_TWICE, "2/sensorElementList/0/sensorReport/0/deviceID", _set(2,
         "sensorElementList", 0, "sensorReport", 0, "deviceID", to="urn:uuid:meter")),
        # EPCIS 2.0, error declaration: the event is otherwise identical.
        (Rule.DECLARATION, "6", _set(6, "inputQuantityList", 0, "quantity", to=Decimal(20))),
        # 39.25 kg of the sack are left after the count: 40 kg cannot be taken.
        (Rule.OVERDRAWN, "17/quantityList/0", _set(17, "quantityList", 0, "quantity",
         to=Decimal(40))),
        (Rule.OVERDRAWN, "18/quantityList/0", _set(18, "quantityList", 0, "quantity",
         to=Decimal(100))),
        (Rule.NOT_NEW, "19/outputQuantityList/0", _again),
        (Rule.HELD, "19/inputQuantityList/0", _of_held),
    ],
)  # fmt: skip
def test_an_alteration_that_the_schema_accepts_is_pointed_at(
    roastery: dict[str, Any], rule: Rule, pointer: str, change: Change
) -> None:
    document = deepcopy(roastery)
    change(document["epcisBody"]["eventList"])

    assert list(flaws_of_shape(document)) == []
    assert (f"#/epcisBody/eventList/{pointer}", rule) in [
        (flaw.pointer, flaw.rule) for flaw in flaws(document)
    ]


def test_the_last_gram_can_be_taken_and_a_count_may_find_nothing(
    roastery: dict[str, Any],
) -> None:
    document = deepcopy(roastery)
    events = document["epcisBody"]["eventList"]
    events[18]["quantityList"][0]["quantity"] = Decimal(99)
    events[16]["quantityList"][0]["quantity"] = Decimal(0)

    assert flaws(document) == []


def test_two_ways_of_writing_one_lot_are_one_lot(roastery: dict[str, Any]) -> None:
    document = deepcopy(roastery)
    listed = document["epcisBody"]["eventList"][1]["quantityList"]
    listed[1]["epcClass"] = "urn:epc:class:lgtin:9521234.000001.GL24017-S01"

    assert [(each.pointer, each.rule) for each in flaws(document)] == [
        ("#/epcisBody/eventList/1/quantityList/1", Rule.TWICE)
    ]


def test_events_are_followed_in_the_order_they_were_written_down_where_that_is_known() -> None:
    late = {
        "type": "x:y",
        "eventTime": "2026-01-01T00:00:00Z",
        "recordTime": "2026-03-01T00:00:00Z",
    }
    soon = {
        "type": "x:y",
        "eventTime": "2026-02-01T00:00:00Z",
        "recordTime": "2026-02-01T00:00:00Z",
    }

    assert in_order([("late", late), ("soon", soon)])[0][0] == "soon"
    del late["recordTime"]
    assert in_order([("soon", soon), ("late", late)])[0][0] == "late"

"""What the book tells as EPCIS 2.0, held against the official schema and against the book."""

import json
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from jsonschema import Draft7Validator
from sqlalchemy import Engine, select
from sqlmodel import Session, col

from app.ledger.tables import Flow, Unit
from app.shared.answers import read_json
from app.standards.epcis.naming import lot_of
from app.standards.epcis.rules import flaws_of_events
from app.standards.epcis.shape import flaws_of_shape
from app.standards.epcis.stock import follow, standing
from app.standards.json_text import parse
from tests.api import Api, kg, problem

YEAR = "/epcis?from=2026-01-01T00:00:00Z&to=2099-01-01T00:00:00Z"
Events = list[dict[str, Any]]


def told(api: Api, path: str) -> Events:
    """Ask for a document and hold it against our own reading of the standard."""
    answer = api.send("GET", path)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/ld+json"
    document = parse(answer.content)
    assert isinstance(document, dict)
    assert list(flaws_of_shape(document)) == []
    events: Events = document["epcisBody"]["eventList"]  # type: ignore[assignment, call-overload, index]
    placed = [(f"#/{number}", event) for number, event in enumerate(events)]
    assert list(flaws_of_events(placed, datetime.now(UTC))) == []
    assert follow(placed).flaws == []
    return events


def of(events: Events, step: str) -> Events:
    return [event for event in events if event.get("bizStep") == step]


def lots(elements: list[dict[str, Any]]) -> dict[str | None, Decimal | None]:
    return {lot_of(each["epcClass"]): each.get("quantity") for each in elements}


@pytest.mark.parametrize("prefixed", [False, True])
def test_every_kind_of_event_validates_against_the_official_schema(
    api: Api, roastery: dict[str, Any], official: Draft7Validator, prefixed: bool,
    request: pytest.FixtureRequest,
) -> None:  # fmt: skip
    if prefixed:
        request.getfixturevalue("with_prefix")
    paths = [
        YEAR, "/epcis?code=GL24017", "/epcis?code=P-1-26&direction=backward",
        f"/epcis?recall={roastery['recall']}&scope=1",
    ]  # fmt: skip
    for path in paths:
        document = json.loads(api.send("GET", path).content)
        assert [error.message for error in official.iter_errors(document)] == [], path
    events = told(api, YEAR)

    assert {event["bizStep"] for event in events} == {
        "commissioning", "receiving", "inspecting", "sensor_reporting", "sampling", "storing",
        "holding", "stock_taking", "jutebook:adjusting_down", "packing", "shipping", "destroying",
    }  # fmt: skip
    assert {event["type"] for event in events} == {
        "ObjectEvent", "AggregationEvent", "TransformationEvent",
    }  # fmt: skip
    named = Counter(
        name.startswith("https://id.gs1.org/")
        for event in events
        for each in event.get("quantityList", [])
        for name in [each["epcClass"]]
    )
    # Packing material, and bags of a product without a number of trade, have none of GS1.
    assert (named[True] > 10) == prefixed


def test_what_goes_into_each_transformation_is_what_the_book_let_flow(
    api: Api, roastery: dict[str, Any], engine: Engine
) -> None:
    del roastery
    made = [event for event in told(api, YEAR) if event["type"] == "TransformationEvent"
            if "errorDeclaration" not in event]  # fmt: skip
    with Session(engine) as session:
        flows: dict[str, dict[str, int]] = {}
        source, target = Unit.__table__.alias(), Unit.__table__.alias()  # type: ignore[attr-defined]
        for row in session.execute(
            select(source.c.code, target.c.code, col(Flow.grams))
            .join(source, source.c.id == col(Flow.source_id))
            .join(target, target.c.id == col(Flow.target_id))
            .where(target.c.kind.in_(["roast", "blend", "pack"]))
        ):
            flows.setdefault(row[1], {})[row[0]] = row[2]

    assert len(made) == 5
    for event in made:
        [output] = event["outputQuantityList"]
        inputs = lots([each for each in event["inputQuantityList"] if "uom" in each])
        assert {lot: kilograms * 1000 for lot, kilograms in inputs.items() if kilograms} == flows[
            str(lot_of(output["epcClass"]))
        ]
        # A product of ours that one process makes has no identifier of the process itself: all
        # that share one would be suspect for one another (EPCIS 2.0, transformation event).
        assert "transformationID" not in event
    [packed] = [event for event in made if event["jutebook:act"] == "pack"]
    assert lots(packed["inputQuantityList"]) == {"BL-1": 25, "PK7781": 99}
    assert lots(packed["outputQuantityList"]) == {"P-1-26": 99}
    [roasted] = [event for event in made if event["ilmd"]["cbvmda:lotNumber"] == "RB-2"]
    assert roasted["ilmd"]["jutebook:shrinkKg"] == 5


def test_what_came_is_told_with_its_marks_and_from_whom_it_was_received(
    api: Api, roastery: dict[str, Any]
) -> None:
    del roastery
    events = told(api, "/epcis?code=GL24017")

    entered, *received = [event for event in events if "GL24017" in str(event.get("quantityList"))][
        :3
    ]
    assert (entered["bizStep"], entered["action"]) == ("commissioning", "ADD")
    assert lots(entered["quantityList"]) == {"GL24017-S01": kg("60.2"), "GL24017-S02": kg("59.8")}
    assert entered["ilmd"] == {
        "cbvmda:lotNumber": "GL24017", "cbvmda:countryOfOrigin": "ET",
        "jutebook:parentLot": "GL24017", "jutebook:sackCount": 2,
        "jutebook:name": "Sidama washed", "jutebook:cropYear": "2025/26",
        "jutebook:process": "washed", "jutebook:icoMark": "010/1402/0001",
        "jutebook:advisedKg": 121,
    }  # fmt: skip
    assert entered["eventTime"] == "2026-03-02T08:00:00Z"
    assert [lots(event["quantityList"]) for event in received] == [
        {"GL24017-S01": kg("60.2")}, {"GL24017-S02": kg("59.8")},
    ]  # fmt: skip
    assert [event["bizLocation"]["id"] for event in received] == [
        "https://roastery.example/epcis/place/A-01", "https://roastery.example/epcis/place/B-02",
    ]  # fmt: skip
    # 120 kg of 121 came, and one sack is torn.
    assert received[0]["persistentDisposition"] == {"set": ["mismatch_quantity"]}
    assert received[1]["jutebook:conditions"][0]["jutebook:condition"] == "torn"
    header = api.get("/epcis?code=GL24017")["epcisHeader"]["epcisMasterData"]["vocabularyList"]
    names = {
        each["attributes"][0]["attribute"]: each["id"]
        for kind in header for each in kind["vocabularyElementList"]
    }  # fmt: skip
    assert received[0]["sourceList"][0]["source"] == names["Finca El Roble"]
    assert "Café Nord" in names


def test_what_was_voided_is_declared_wrong_and_its_correction_is_named_both_ways(
    api: Api, roastery: dict[str, Any]
) -> None:
    """EPCIS 2.0, error declarations: repeated unchanged, with the same identifier."""
    del roastery
    events = told(api, "/epcis?code=GL24017")
    declared = [event for event in events if "errorDeclaration" in event]
    by_name = {event["eventID"]: event for event in events if "errorDeclaration" not in event}
    reasons = {
        event.get("ilmd", {}).get("cbvmda:lotNumber", event["bizStep"]): event["errorDeclaration"]
        for event in declared
    }

    for event in declared:
        first = by_name[event["eventID"]]
        apart = {"errorDeclaration", "recordTime"}
        assert {name: each for name, each in event.items() if name not in apart} == {
            name: each for name, each in first.items() if name not in apart
        }
    assert reasons.keys() == {"RB-1", "RB-3", "inspecting", "shipping"}
    [replaced] = reasons["RB-1"]["correctiveEventIDs"]
    assert reasons["RB-1"]["reason"] == "incorrect_data"
    assert by_name[replaced]["ilmd"]["cbvmda:lotNumber"] == "RB-2"
    [corrects] = by_name[replaced]["jutebook:corrects"]
    assert by_name[corrects]["ilmd"]["cbvmda:lotNumber"] == "RB-1"
    # What did not occur is corrected by nothing (CBV 2.0, error reason).
    assert reasons["RB-3"]["reason"] == "did_not_occur"
    assert "correctiveEventIDs" not in reasons["RB-3"]
    assert reasons["RB-3"]["jutebook:why"] == "booked twice"
    assert reasons["shipping"]["jutebook:why"] == "never left"


def test_followed_without_what_was_wrong_a_document_ends_at_what_the_book_has(
    api: Api, roastery: dict[str, Any]
) -> None:
    del roastery
    events = told(api, "/epcis?code=GL24017")
    left: Counter[str] = Counter()
    for _, event in standing([("", event) for event in events]):
        sign = {"ADD": 1, "DELETE": -1}.get(event.get("action", ""), 0)
        if event["type"] == "AggregationEvent":
            continue
        for each in event.get("quantityList", []) if sign else []:
            left[str(lot_of(each["epcClass"]))] += sign * each["quantity"]
        for side, change in (("input", -1), ("output", 1)):
            for each in event.get(f"{side}QuantityList", []):
                left[str(lot_of(each["epcClass"]))] += change * each["quantity"]

    for code in ("GL24017-S01", "GL24017-S02", "RB-2", "BL-1"):
        assert left[code] == api.get(f"/units/{code}")["left_kg"], code
    # 99 bags, 2 destroyed; 15 went out and 4 came back, which stay the bags they are.
    assert left["P-1-26"] == 97
    assert left["PK7781"] == 1
    assert "RB-1" not in left
    assert "RB-3" not in left


def test_what_is_on_hold_stays_so_until_the_last_hold_of_it_is_released(
    api: Api, roastery: dict[str, Any]
) -> None:
    """CBV 2.0: a persistent disposition lasts until it is unset."""
    del roastery
    events = told(api, "/epcis?code=GL24017")
    marks = [
        (event["persistentDisposition"], sorted(filter(None, lots(event["quantityList"]))))
        for event in events
        if event.get("bizStep") in {"holding", "inspecting"} and "persistentDisposition" in event
    ]
    held, recalled = {"set": ["non_sellable_other"]}, {"set": ["recalled"]}
    let_go = {"unset": ["non_sellable_other"]}
    both = ["GL24017-S01", "GL24017-S02"]

    assert marks[:4] == [
        (held, both), (held, ["GL24017-S02"]), (let_go, ["GL24017-S01"]),
        (let_go, ["GL24017-S02"]),
    ]  # fmt: skip
    assert marks[4] == (held, ["P-1-26"])  # what came back
    assert marks[5][0] == recalled
    assert set(marks[5][1]) >= {*both, "RB-2", "P-1-26"}
    [back] = [event for event in events if event.get("disposition") == "returned"]
    assert lots(back["quantityList"]) == {"P-1-26": 4}


def test_a_case_is_sent_by_its_own_number_and_loose_bags_beside_it(
    api: Api, roastery: dict[str, Any], with_prefix: None
) -> None:
    del with_prefix
    events = told(api, "/epcis?code=P-1-26")
    [cased] = of(events, "packing")
    sent = of(events, "shipping")[0]

    assert lots(cased["childQuantityList"]) == {"P-1-26": 12}
    assert sent["epcList"] == [cased["parentID"]]
    assert sent["epcList"][0].endswith(roastery["case"])
    assert lots(sent["quantityList"]) == {"P-1-26": 3}
    assert sent["disposition"] == "in_transit"
    assert sent["sourceList"][0]["source"] == "https://id.gs1.org/417/9521234000006"
    assert sent["bizTransactionList"][0]["bizTransaction"] == (
        "urn:epcglobal:cbv:bt:9521234000006:D-1-26"
    )


def test_readings_say_what_was_measured_by_which_device_and_rooms_have_no_coffee(
    api: Api, roastery: dict[str, Any]
) -> None:
    del roastery
    read = [event for event in told(api, YEAR) if "sensorElementList" in event]
    of_sack = next(event for event in read if "GL24017-S01" in lots(event.get("quantityList", [])))
    [room] = of(read, "sensor_reporting")

    [sensed] = of_sack["sensorElementList"]
    assert sensed["sensorMetadata"]["deviceID"] == "https://roastery.example/epcis/instrument/MM01"
    assert sensed["sensorReport"] == [
        {"type": "jutebook:MoistureContentWetBasis", "value": kg("11.2"), "uom": "P1"},
        {"type": "Temperature", "value": kg("20.4"), "uom": "CEL"},
    ]  # fmt: skip
    assert "quantityList" not in room
    assert room["readPoint"]["id"].endswith("place/A-01")


def test_an_event_is_named_and_told_the_same_whoever_asks_for_it(
    api: Api, roastery: dict[str, Any]
) -> None:
    whole = {json.dumps(event, default=str) for event in told(api, YEAR)}

    for path in (
        "/epcis?code=GL24017-S02", "/epcis?code=P-1-26&direction=backward", "/epcis?code=D-1-26",
        f"/epcis?recall={roastery['recall']}&scope=1",
    ):  # fmt: skip
        some = told(api, path)
        assert some
        assert {json.dumps(event, default=str) for event in some} <= whole, path
    names = Counter(
        event["eventID"] for event in told(api, YEAR) if "errorDeclaration" not in event
    )
    assert max(names.values()) == 1


def test_a_replaced_unit_and_its_successor_tell_the_same(
    api: Api, roastery: dict[str, Any]
) -> None:
    del roastery
    assert told(api, "/epcis?code=RB-1") == told(api, "/epcis?code=RB-2")


def test_a_document_takes_no_more_statements_for_a_longer_book(
    roastery: dict[str, Any], statements: Callable[[str], int]
) -> None:
    del roastery
    few = statements("/epcis?code=P-1-26&direction=backward")
    many = statements(YEAR)

    assert many <= few < 90


@pytest.mark.parametrize(
    "asked",
    [
        "", "code=GL24017&recall=Q-1&scope=1", "recall=Q-1", "scope=1",
        "direction=forward&from=2026-01-01T00:00:00Z&to=2026-02-01T00:00:00Z",
        "from=2026-01-01T00:00:00Z", "from=2026-02-01T00:00:00Z&to=2026-01-01T00:00:00Z",
        "from=yesterday&to=today", "code=GL24017&colour=red",
    ],
)  # fmt: skip
def test_a_document_is_asked_for_in_one_of_three_ways(api: Api, asked: str) -> None:
    problem(api.send("GET", f"/epcis?{asked}"), 422, "invalid")


def test_what_is_not_there_is_refused_as_everywhere(api: Api) -> None:
    problem(api.send("GET", "/epcis?code=GL-404"), 404, "unknown-code")
    problem(api.send("GET", "/epcis?recall=Q-404&scope=1"), 404, "not-found")
    empty = read_json(api.send("GET", YEAR).content)
    assert empty["epcisBody"] == {"eventList": []}

"""Which documents have the shape of EPCIS 2.0: the verdicts of the official JSON schema."""

import json
from decimal import Decimal
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft7Validator

from app.shared.answers import to_json
from app.standards.epcis.shape import flaws_of_shape, moment
from app.standards.json_text import parse


def test_every_official_example_has_the_shape(
    examples: dict[str, Any], official: Draft7Validator
) -> None:
    for name, document in examples.items():
        assert list(flaws_of_shape(document)) == [], name
        assert official.is_valid(json.loads(to_json(document))), name


def test_altered_documents_are_taken_and_refused_as_the_official_schema_does(
    judged: list[dict[str, Any]], official: Draft7Validator
) -> None:
    for case in judged:
        taken = not list(flaws_of_shape(case["document"]))

        assert taken == (case["schema_result"] == "accepted"), case["case"]
        assert taken == official.is_valid(json.loads(to_json(case["document"]))), case["case"]


def test_a_flaw_points_at_the_place_and_says_what_is_wanted(judged: list[dict[str, Any]]) -> None:
    found = {case["case"]: list(flaws_of_shape(case["document"])) for case in judged}
    flaws = {name: (each.pointer, each.detail) for name, each, *_ in
             ((name, *flaws) for name, flaws in found.items() if flaws)}  # fmt: skip
    event = "#/epcisBody/eventList/0"

    assert flaws["quantity as string"] == (
        f"{event}/inputQuantityList/0/quantity", "“20.2” is no number",
    )  # fmt: skip
    assert flaws["bizStep invented bare word roasting"] == (
        f"{event}/bizStep",
        "“roasting” is no business step: a bare word of the CBV, or an address",
    )
    assert flaws["document without creationDate"] == ("#/creationDate", "creationDate is missing")
    assert flaws["ilmd on OBSERVE"] == (f"{event}/ilmd", "master data go with ADD alone")


def test_a_member_taken_out_of_an_example_is_judged_as_by_the_official_schema(
    examples: dict[str, Any], official: Draft7Validator
) -> None:
    every = [(name, path) for name, document in examples.items() for path in _members(document)]
    # All of them were tried once, and take a minute: the schema is slow.
    tried = every[:: len(every) // 60]

    assert len(every) > 1000
    for name, path in tried:
        altered = _without(examples[name], path)
        taken = not list(flaws_of_shape(altered))
        assert taken == official.is_valid(json.loads(to_json(altered))), (name, path)


def _members(value: object, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """Name every member that can be taken out, but for the document's own type."""
    if isinstance(value, dict):
        steps: list[tuple[str | int, Any]] = [
            (name, each) for name, each in value.items() if (*path, name) != ("type",)
        ]
    elif isinstance(value, list):
        steps = list(enumerate(value))
    else:
        return []
    return [
        found
        for step, each in steps
        if step != "@context" or not path
        for found in [(*path, step), *_members(each, (*path, step))]
        if "@context" not in path
    ]


def _without(value: Any, path: tuple[str | int, ...]) -> Any:
    step, *rest = path
    if isinstance(value, list):
        kept = list(value)
        kept[int(step)] = _without(kept[int(step)], tuple(rest)) if rest else None
        return [each for each in kept if each is not None] if not rest else kept
    there = dict(value)
    if rest:
        there[str(step)] = _without(there[str(step)], tuple(rest))
    else:
        del there[str(step)]
    return there


_NAMES = st.sampled_from(["epcClass", "quantity", "type", "set", "sensorReport", "id", "x:y"])
_LEAF = st.sampled_from([None, True, Decimal("1.5"), "ADD", "x:y", "", "2026-01-01T00:00:00Z"])
_JSON = st.recursive(
    _LEAF,
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(_NAMES, inner, max_size=2),
    max_leaves=4,
)
_EVENT_FIELDS = st.sampled_from(
    ["type", "action", "eventTime", "bizStep", "quantityList", "epcList", "sensorElementList",
     "persistentDisposition", "errorDeclaration", "ilmd", "readPoint", "inputQuantityList"]
)  # fmt: skip


@settings(max_examples=100, deadline=None)
@given(
    st.sampled_from(["ObjectEvent", "TransformationEvent", "AggregationEvent", "x:y"]) | _JSON,
    st.dictionaries(_EVENT_FIELDS, _JSON),
)
def test_whatever_stands_in_an_event_is_judged_and_breaks_nothing(
    kind: object, members: dict[str, object]
) -> None:
    event = members | {"type": kind}
    document = {"type": "EPCISDocument", "epcisBody": {"eventList": [event]}}

    assert list(flaws_of_shape(document))


def test_times_keep_their_zone_and_days_that_are_none_are_no_times() -> None:
    assert moment("2026-11-02T09:15:00+01:00") == moment("2026-11-02T08:15:00.000Z")
    for none in ("2026-11-02T09:15:00", "2026-02-30T09:15:00Z", "2026-11-02", "", None, Decimal(1)):
        assert moment(none) is None


def test_a_number_of_a_document_keeps_its_very_digits() -> None:
    read = parse(b'{"quantity": 60.20}')

    assert to_json(read) == b'{"quantity":60.20}'

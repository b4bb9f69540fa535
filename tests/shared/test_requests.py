"""Requests that no database could answer are told so, and none of them is a 500."""

import pytest

from tests.api import Api, problem

ADDRESSES = [
    "/customers/%00", "/suppliers/a%00b", "/locations/%00", "/machines/%00", "/products/%00",
    "/deliveries/%00", "/dispatches?customer=%00", "/packs?product=%00", "/sacks?lot=%00",
    "/trace/%00?direction=forward",
]  # fmt: skip


@pytest.mark.parametrize("address", ADDRESSES)
def test_an_address_with_a_nul_in_it_is_refused(api: Api, address: str) -> None:
    problem(api.send("GET", address), 400, "bad-request")


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        (b'{"name": ', "#"),
        (b'{"name": NaN}', "NaN is no JSON number"),
        (b'{"name": "a", "name": "b"}', "the name name stands twice"),
        (b'{"name": "a", "more": {"b": 1, "b": 1}}', "the name b stands twice"),
        (b"[" * 100_000, "nested too deeply"),
        (b'{"name": "\\u0000"}', "NUL"),
        (b'{"name": "\\ud800"}', "surrogate"),
        (b'{"name": "\xff"}', "#"),
        (b"[]", "#"),
        (b'"name"', "#"),
        (b"", "#"),
    ],
)
def test_a_body_that_is_no_json_object_is_refused_as_a_whole(
    api: Api, sent: bytes, said: str
) -> None:
    refusal = problem(api.send("POST", "/suppliers", sent), 422, "invalid")

    assert [error["pointer"] for error in refusal["errors"]] == ["#"]
    assert said in refusal["detail"]
    assert api.get("/suppliers")["items"] == []


def test_a_flaw_is_said_to_be_where_it_stands_whatever_type_it_could_have_been_of(api: Api) -> None:
    lines = [
        {"pack": "RB-7", "bags": 1},
        {"case": 5},
        {"pack": "RB-7"},
        {"pack": "RB-7", "bags": "1"},
    ]
    dispatch = problem(
        api.send("POST", "/dispatches", {"customer": 1.5, "lines": lines}), 422, "invalid"
    )
    reading = {"subject": "~", "kind": "moisture", "value": 11}
    of_nothing = problem(api.send("POST", "/readings", reading), 422, "invalid")

    assert [each["pointer"] for each in dispatch["errors"]] == [
        "#/customer", "#/customer", "#/lines/1/case", "#/lines/2/bags", "#/lines/3/bags",
    ]  # fmt: skip
    assert {each["pointer"] for each in of_nothing["errors"]} == {"#/subject"}

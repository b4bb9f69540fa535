"""Nobody's change is lost: ETag, If-Match and If-None-Match on everything that can be edited.

The comparisons are those of RFC 9110, section 8.8.3.2 (strong and weak comparison), and sections
13.1.1 and 13.1.2 (If-Match, If-None-Match); section numbers from memory.
"""

from typing import Any

import pytest

from app.shared.problems import Refused
from app.shared.versions import etag, holds, require_match
from tests.api import Api, problem

CARDS: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "/suppliers/1": ({"name": "Finca El Roble"}, {"name": "El Roble"}),
    "/customers/1": ({"name": "Café Nord", "contact": "Ida"}, {"contact": "Ole"}),
    "/locations/B-02": ({"code": "B-02", "kind": "rack"}, {"site": "North"}),
    "/machines/DRUM": ({"code": "DRUM", "kind": "roaster"}, {"capacity_kg": 75}),
    "/products/H250": ({"sku": "H250", "name": "House", "nominal_g": 250}, {"name": "Home"}),
}
"""Where a card is, what it is entered with, and what is changed of it."""

EVERY_CARD = pytest.mark.parametrize("where", CARDS)


def enter(api: Api, where: str) -> str:
    """Enter the card, changed once so that its version is not the first; returns its ETag."""
    entered, change = CARDS[where]
    api.post(where.rpartition("/")[0], entered)
    return api.send("PATCH", where, change, If_Match="*").headers["etag"]


@pytest.mark.parametrize(
    ("theirs", "strongly", "weakly"),
    [('"1"', True, True), ('W/"1"', False, True), ('W/"2"', False, False), ('"2"', False, False)],
)
def test_tags_compare_as_the_standard_says(theirs: str, strongly: bool, weakly: bool) -> None:
    # The rows of the table in section 8.8.3.2 that can be met here: our own tags are all strong.
    assert matches(theirs, 1) is strongly
    assert holds(theirs, etag(1)) is weakly


def matches(header: str, version: int) -> bool:
    try:
        require_match(header, version)
    except Refused:
        return False
    return True


LISTS = [
    ('"2"', True), (' "2" ', True), ("*", True), ('"1", "2"', True), ('"1","2","3"', True),
    ('"1"', False), ('W/"2"', False), ('W/"1", W/"2"', False), ('"1", W/"2"', False), ("2", False),
    ('""', False), ("", False), ("'2'", False), ('"02"', False), ('"2', False), ('*, "1"', False),
    ('"*"', False), ('w/"2"', False), ("**", False),
]  # fmt: skip
"""Values of If-Match and whether version 2 may be changed with them."""


@pytest.mark.parametrize(("if_match", "goes"), LISTS)
def test_if_match_takes_the_current_strong_tag_a_list_with_it_or_a_lone_star(
    if_match: str, goes: bool
) -> None:
    assert matches(if_match, 2) is goes


@EVERY_CARD
def test_a_change_goes_through_with_the_current_tag_alone_in_a_list_or_with_a_star(
    api: Api, where: str
) -> None:
    tag = enter(api, where)
    _, change = CARDS[where]

    for if_match in (tag, f'"0", {api_next(tag)}', "*"):
        changed = api.send("PATCH", where, change, If_Match=if_match)
        assert changed.status_code == 200, if_match
    assert changed.headers["etag"] == api.send("GET", where).headers["etag"] == '"5"'


def api_next(tag: str) -> str:
    return etag(int(tag.strip('"')) + 1)


@EVERY_CARD
def test_a_change_of_another_version_is_refused_and_changes_nothing(api: Api, where: str) -> None:
    tag = enter(api, where)
    _, change = CARDS[where]
    there = api.get(where)

    for if_match in ('"1"', f"W/{tag}", f'"1", W/{tag}', tag.strip('"'), '*, "1"'):
        refusal = problem(
            api.send("PATCH", where, change, If_Match=if_match), 412, "precondition-failed"
        )
        assert refusal["etag"] == tag
    problem(api.send("PATCH", where, change), 428, "precondition-required")
    assert api.get(where) == there


@EVERY_CARD
def test_a_reader_who_has_the_current_version_gets_no_body(api: Api, where: str) -> None:
    tag = enter(api, where)

    for held in (tag, f"W/{tag}", f'"1", {tag}', "*"):
        answer = api.send("GET", where, If_None_Match=held)
        assert (answer.status_code, answer.content) == (304, b"")
        assert answer.headers["etag"] == tag
    for other in ('"1"', 'W/"1"', tag.strip('"'), '"1", "3"', '*, "1"'):
        assert api.send("GET", where, If_None_Match=other).status_code == 200


@EVERY_CARD
def test_a_change_names_known_fields_and_at_least_one(api: Api, where: str) -> None:
    tag = enter(api, where)
    there = api.get(where)

    unknown = problem(api.send("PATCH", where, {"colour": "red"}, If_Match=tag), 422, "invalid")
    nothing = problem(api.send("PATCH", where, {}, If_Match=tag), 422, "invalid")
    wrong = problem(api.send("PATCH", where, [], If_Match=tag), 422, "invalid")

    assert [error["pointer"] for error in unknown["errors"]] == ["#/colour"]
    assert [error["pointer"] for error in nothing["errors"]] == ["#"]
    assert [error["pointer"] for error in wrong["errors"]] == ["#"]
    assert api.get(where) == there


@pytest.mark.parametrize(
    ("where", "field"),
    [("/suppliers/1", "name"), ("/customers/1", "name"), ("/locations/B-02", "kind"),
     ("/products/H250", "name")],
)  # fmt: skip
def test_a_field_that_must_be_there_is_not_emptied(api: Api, where: str, field: str) -> None:
    tag = enter(api, where)

    refusal = problem(api.send("PATCH", where, {field: None}, If_Match=tag), 422, "invalid")

    assert field in refusal["detail"]
    assert api.get(where)[field]


@pytest.mark.parametrize(
    ("where", "field"),
    [("/customers/1", "contact"), ("/locations/B-02", "site"), ("/machines/DRUM", "capacity_kg")],
)
def test_a_field_that_may_be_missing_is_emptied_by_null(api: Api, where: str, field: str) -> None:
    tag = enter(api, where)
    assert api.get(where)[field] is not None

    changed = api.send("PATCH", where, {field: None}, If_Match=tag)

    assert changed.json()[field] is None


@pytest.mark.parametrize(
    ("where", "field", "value"),
    [("/locations/B-02", "code", "B-03"), ("/machines/DRUM", "kind", "blender"),
     ("/machines/DRUM", "code", "DRUM-2"), ("/products/H250", "nominal_g", 500),
     ("/products/H250", "sku", "H500"), ("/suppliers/1", "version", 9), ("/suppliers/1", "id", 9)],
)  # fmt: skip
def test_what_the_book_was_written_with_is_not_changed_afterwards(
    api: Api, where: str, field: str, value: object
) -> None:
    tag = enter(api, where)

    problem(api.send("PATCH", where, {field: value}, If_Match=tag), 422, "invalid")


@EVERY_CARD
def test_a_change_of_what_is_not_there_is_a_404(api: Api, where: str) -> None:
    _, change = CARDS[where]

    problem(api.send("PATCH", where, change, If_Match='"1"'), 404, "not-found")
    problem(api.send("GET", where, If_None_Match="*"), 404, "not-found")

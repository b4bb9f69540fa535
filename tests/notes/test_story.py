"""The examples of the notes run, in order, and are answered as the pages say."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from fastapi import FastAPI

from tests.notes.operations import (
    answer_of,
    members_of,
    misfits,
    operation_of,
    operations,
    resolve,
    schema_of,
)
from tests.notes.pages import FOLDER, Example, examples, page_names
from tests.notes.story import Told, is_json, tell
from tests.notes.tables import RENEW

_IN_README = frozenset({"items", "next", "id", "version"})
"""Members that every card or list has: the README explains them once."""


@pytest.fixture
def told(service: FastAPI) -> list[Told]:
    return list(tell(service))


def _all_examples() -> list[Example]:
    return [
        example
        for page in page_names()
        for example in examples(page, (FOLDER / page).read_text(encoding="utf-8"))
    ]


def _asked_of(example: Example) -> tuple[str, str]:
    method, address = example.request.first_line.split(" ")
    return method, address.partition("?")[0]


def test_every_example_is_answered_as_its_page_says(
    told: list[Told], book_is_sound: Callable[[], None]
) -> None:
    differing = {each.example.title: each.differences() for each in told if each.differences()}

    assert not differing, f"`{RENEW}` corrects the pages:\n{json.dumps(differing, indent=2)}"
    assert len(told) > 80
    book_is_sound()


def test_every_example_is_what_the_document_describes(
    told: list[Told], document: dict[str, Any]
) -> None:
    misfitting = {}
    for each in told:
        found = list(_misfits(document, each))
        if found:
            misfitting[each.example.title] = found

    assert not misfitting, json.dumps(misfitting, indent=2)


def _misfits(document: dict[str, Any], told: Told) -> list[str]:
    described = answer_of(document, told)
    if described is None:
        return [f"status {told.answer.status_code} is not described"]
    found = []
    media_type = told.answer.headers.get("content-type")
    if media_type is not None:
        schema = schema_of(described, media_type)
        if schema is None:
            return [f"{media_type} is not described"]
        if is_json(media_type):
            found += misfits(document, schema, json.loads(told.answer.content))
    for name in told.example.answer.headers.keys() - {"Content-Type"}:
        if name not in described.get("headers", {}):
            found.append(f"the header {name} is not described")
    _, _, operation = operation_of(document, told.method, told.path)
    if told.answer.is_success and told.example.request.body is not None:
        said = told.example.request.headers.get("Content-Type", "application/json")
        schema = schema_of(operation["requestBody"], said)
        assert schema is not None
        if said == "application/json":
            found += misfits(document, schema, json.loads(told.answer.request.content))
    return found


def test_every_operation_has_an_example(document: dict[str, Any]) -> None:
    shown = {operation_of(document, *_asked_of(example))[:2] for example in _all_examples()}

    missing = [
        f"{method.upper()} {path}"
        for method, path, operation in operations(document)
        if "security" in operation and (method, path) not in shown
    ]

    assert not missing, "operations without an example in openapi-notes/"


def test_every_field_is_named_on_the_page_of_its_example(document: dict[str, Any]) -> None:
    missing: set[str] = set()
    for example in _all_examples():
        text = (FOLDER / example.page).read_text(encoding="utf-8")
        _, path, operation = operation_of(document, *_asked_of(example))
        if example.page == "README.md" or not path.startswith(_main_path(example.page)):
            continue
        for name in _members(document, operation) - _IN_README:
            if f"`{name}`" not in text and f".{name}`" not in text:
                missing.add(f"{example.page}: {name} of {path}")

    assert not sorted(missing), "fields that their page does not name"


def _main_path(page: str) -> str:
    """Name the paths a page is about; others appear on it as part of the story."""
    resource = {
        "arrivals.md": "lots/{code}/",
        "colours.md": "roasts/{code}/colours",
        "cuppings.md": "roasts/",
        "journal.md": "entries",
        "packing-materials.md": "materials",
        "units-and-void.md": "units",
    }
    return f"/api/v1/{resource.get(page, page.removesuffix('.md'))}"


def _members(document: dict[str, Any], operation: dict[str, Any]) -> set[str]:
    described = [operation.get("requestBody", {})]
    described += [
        resolve(document, answer)
        for status, answer in operation["responses"].items()
        if status.startswith("2")
    ]
    schemas = [schema_of(each, "application/json") for each in described]
    return {name for schema in schemas if schema for name in members_of(document, schema)}


def test_every_page_is_in_the_story() -> None:
    there = {page.name for page in FOLDER.glob("*.md")}

    beside = {"problems.md", "pages.md", "running.md", "speed.md", "trust.md"}

    assert there == {*page_names(), *beside}

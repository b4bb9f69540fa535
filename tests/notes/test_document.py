"""The OpenAPI document is kept beside the code, is valid, and says what a client must know."""

import re
from collections import Counter
from collections.abc import Iterator
from typing import Any

from fastapi import FastAPI
from openapi_spec_validator import OpenAPIV31SpecValidator

from app.ledger.schemas import Change
from tests.notes.operations import objects_of, operations, resolve
from tests.notes.tables import DOCUMENT, GENERATED, RENEW, document_of, generated_part

Json = dict[str, Any]


def test_the_document_that_is_kept_is_the_service_s(built: FastAPI) -> None:
    kept = DOCUMENT.read_text(encoding="utf-8")

    assert kept == document_of(built), f"openapi.json is not current: `{RENEW}`"


def test_the_generated_tables_are_current(built: FastAPI) -> None:
    stale = [
        page.name for page, generate in GENERATED.items() if generated_part(page) != generate(built)
    ]

    assert not stale, f"tables that are not current: `{RENEW}`"


def test_the_document_is_valid_openapi_3_1(document: Json) -> None:
    assert document["openapi"].startswith("3.1.")
    assert [error.message for error in OpenAPIV31SpecValidator(document).iter_errors()] == []


def test_operations_are_named_shortly_and_each_once(document: Json) -> None:
    names = Counter(operation["operationId"] for _, _, operation in operations(document))

    assert [name for name, times in names.items() if times > 1] == []
    assert [name for name in names if not re.fullmatch(r"[a-z]+(_[a-z]+)*", name)] == []


def test_every_tag_is_described_and_used(document: Json) -> None:
    used = {tag for _, _, operation in operations(document) for tag in operation["tags"]}

    assert used == {tag["name"] for tag in document["tags"]}
    assert all(tag["description"] for tag in document["tags"])


def test_refusals_are_problem_documents_and_nothing_else(document: Json) -> None:
    refusals = [
        resolve(document, answer)
        for _, _, operation in operations(document)
        for status, answer in operation["responses"].items()
        if status[0] in "45d"
    ]

    problem = {"schema": {"$ref": "#/components/schemas/Problem"}}
    assert all(each["content"] == {"application/problem+json": problem} for each in refusals)
    assert "HTTPValidationError" not in str(document)


def test_every_operation_says_how_it_can_refuse(document: Json) -> None:
    lacking = {
        f"{method} {path}": sorted(missing)
        for method, path, operation in operations(document)
        if "security" in operation
        and (missing := _refusals_due(method, path, operation) - operation["responses"].keys())
    }

    assert not lacking


def _refusals_due(method: str, path: str, operation: Json) -> set[str]:
    due = {"401", "403", "503"}
    if "{" in path:
        due.add("404")
    if method != "get":
        due |= {"409", "422"}
    if "requestBody" in operation:
        due.add("415")
    if method == "patch":
        due |= {"412", "428"}
    return due


def test_headers_of_answers_are_described(document: Json) -> None:
    problem_headers = {
        status: sorted(document["components"]["responses"][f"Problem{status}"].get("headers", {}))
        for status in (401, 403, 404, 409, 503)
    }
    lists = [
        resolve(document, operation["responses"]["200"])
        for method, _, operation in operations(document)
        if method == "get" and any(p["name"] == "cursor" for p in operation.get("parameters", []))
    ]

    assert problem_headers == {
        401: ["WWW-Authenticate"],
        403: ["WWW-Authenticate"],
        404: [],
        409: ["Retry-After"],
        503: ["Retry-After"],
    }
    assert all("Link" in answer["headers"] for answer in lists)


def test_cards_answer_an_etag_and_take_it_back(document: Json) -> None:
    changed = [path for method, path, _ in operations(document) if method == "patch"]

    assert changed
    for path in changed:
        shown, change = document["paths"][path]["get"], document["paths"][path]["patch"]
        assert "ETag" in shown["responses"]["200"]["headers"]
        assert "ETag" in change["responses"]["200"]["headers"]
        assert "304" in shown["responses"]
        assert "If-None-Match" in {parameter["name"] for parameter in shown["parameters"]}


def test_masses_are_numbers_of_kilograms(document: Json) -> None:
    masses = list(_members_named(document, r"(.*(?<!per)_)?kg"))

    assert len(masses) > 50
    assert [name for name, schema in masses if not _is_number(schema)] == []
    assert [name for name, schema in masses if "description" not in schema] == []


def _members_named(document: Json, pattern: str) -> Iterator[tuple[str, Json]]:
    for owner, schema in document["components"]["schemas"].items():
        for name, member in schema.get("properties", {}).items():
            if re.fullmatch(pattern, name):
                yield f"{owner}.{name}", member


def _is_number(schema: Json) -> bool:
    """Tell a number, a number or null, and numbers by code."""
    choices = schema.get("anyOf", [schema.get("additionalProperties", schema)])
    return {choice["type"] for choice in choices} - {"null"} == {"number"}


def test_null_for_what_may_be_left_out_of_a_body_is_said_to_be_as_good(document: Json) -> None:
    bodies = [
        content["schema"]
        for _, _, operation in operations(document)
        for kind, content in operation.get("requestBody", {}).get("content", {}).items()
        if kind == "application/json"
    ]
    refusing = {
        (owner["title"], name)
        for body in bodies
        for owner in objects_of(document, body)
        for name, member in owner.get("properties", {}).items()
        if name not in owner.get("required", []) and {"type": "null"} not in member.get("anyOf", [])
    }

    assert len(bodies) > 100
    assert refusing == {
        (change.__name__, change.model_fields[name].alias or name)
        for change in Change.__subclasses__()
        for name in change.never_null
    }, "what a card always has cannot be emptied, and so is refused; nothing else is"


def test_no_schema_asks_for_multiples_that_binary_floats_miss(document: Json) -> None:
    """`0.35 / 0.001` is not whole in binary, so validators would refuse a sound mass."""
    assert "multipleOf" not in str(document)


def test_every_operation_says_its_permission_in_words(document: Json) -> None:
    for _, path, operation in operations(document):
        for needed in operation.get("security", []):
            permissions = [scope for scopes in needed.values() for scope in scopes]
            assert all(f"`{each}`" in operation["description"] for each in permissions), path

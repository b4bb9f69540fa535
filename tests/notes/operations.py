"""Finding what the document says of an example."""

import re
from collections.abc import Iterator
from typing import Any

from openapi_schema_validator import OAS31Validator

from tests.notes.story import Told

Json = dict[str, Any]

_METHODS = frozenset({"get", "post", "patch"})


def operations(document: Json) -> Iterator[tuple[str, str, Json]]:
    """Name every operation: method, path template and what is said of it."""
    for path, described in document["paths"].items():
        for method in described.keys() & _METHODS:
            yield method, path, described[method]


def operation_of(document: Json, method: str, path: str) -> tuple[str, str, Json]:
    """Find the operation a request goes to."""
    for found, template, operation in operations(document):
        pattern = re.sub(r"\\{\w+\\}", "[^/]+", re.escape(template))
        if found == method.lower() and re.fullmatch(pattern, path):
            return found, template, operation
    raise AssertionError(f"the document has no {method} {path}")


def schema_of(content: Json, media_type: str) -> Json | None:
    """Find the schema of a body or an answer; a charset says nothing of its shape."""
    bare = media_type.partition(";")[0]
    found: Json | None = content.get("content", {}).get(bare, {}).get("schema")
    return found


def misfits(document: Json, schema: Json, instance: object) -> list[str]:
    """Say where JSON is not what a schema of the document allows."""
    whole = schema | {"components": document["components"]}
    return [
        f"{error.json_path}: {error.message}"
        for error in OAS31Validator(whole).iter_errors(instance)
    ]


def resolve(document: Json, node: Json) -> Json:
    """Follow a reference inside the document."""
    while "$ref" in node:
        found = document
        for step in node["$ref"].removeprefix("#/").split("/"):
            found = found[step]
        node = found
    return node


def objects_of(document: Json, schema: Json) -> Iterator[Json]:
    """Find the objects of a schema at any depth."""
    plain = resolve(document, schema)
    members = plain.get("properties", {})
    if members:
        yield plain
    for inner in (*members.values(), plain.get("items"), *plain.get("anyOf", [])):
        if inner:
            yield from objects_of(document, inner)


def members_of(document: Json, schema: Json) -> Iterator[str]:
    """Name the members of a schema at any depth."""
    for each in objects_of(document, schema):
        yield from each["properties"]


def answer_of(document: Json, told: Told) -> Json | None:
    """Find what the document says of the answer that came, or None if it does not know it."""
    _, _, operation = operation_of(document, told.method, told.path)
    found = operation["responses"].get(str(told.answer.status_code))
    return None if found is None else resolve(document, found)

"""What the API says of itself: the OpenAPI document, completed with what every operation shares."""

import re
from collections.abc import Iterator, Mapping
from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI

from app.shared.kinds import KINDS

Json = dict[str, Any]

ABOUT: Final = """\
Masses are kilograms with at most three decimals, exact to the gram; a field says so by `_kg`.
Times carry their offset and are answered in UTC; days are those of the house, by its time zone.
Codes are compared whatever their capitals.
A refusal is a problem document (RFC 9457), and nothing is stored when anything is refused.
Send an `Idempotency-Key` with every POST and a retry is harmless. What was booked is never edited:
it is voided by a correcting entry. Each operation names the permission it needs.
"""

TAGS: Final[Mapping[str, str]] = {
    "green": "Green coffee: who it came from, its lots and sacks.",
    "contracts": "Purchase contracts, and what came of each so far.",
    "arrivals": "What was found when coffee arrived: counts, weights, inspections, photos.",
    "readings": "What was measured and with what, what it says of lots and rooms, and alarms.",
    "places": "Where coffee stands, and what was put where.",
    "roasting": "Machines, and the roasts made on them.",
    "packing": "Products, blends, and the bags filled from them.",
    "orders": "What customers want and by when, standing orders, and how much of it went out.",
    "sending": "Customers, what was sent to them and what came back.",
    "production": "What has to be roasted, and the batches that are planned.",
    "cover": "How many days of green there are, when to order how much, and what will be used.",
    "quality": "Holds and releases, samples and grading, the tasting of what was set aside.",
    "labels": "What is glued to sacks, racks, roasts and packs, and who printed which.",
    "book": "Corrections and the journal: every write is one line of it.",
    "trace": "Where coffee went and what it was made from.",
    "recall": "Recall cases, the stop, what consignees report, mass balances, and drills.",
    "value": "What coffee cost to the bag; stock value, expenses, ABC, and age of green.",
    "scans": "What a scanner read, and what it is here.",
    "bag": "What a bag says of itself to whoever holds it.",
    "epcis": "Documents of EPCIS 2.0: what happened, told to others.",
    "problems": "Pages that explain each kind of problem.",
    "doors": "Is it alive, is it ready, what does it count.",
}

_PROBLEM: Final[Json] = {
    "title": "Problem",
    "description": "A refusal (RFC 9457). Further members hold the codes and figures at fault.",
    "type": "object",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {
            "type": "string",
            "format": "uri-reference",
            "description": "A page of this service that explains this kind of problem.",
            "examples": ["/problems/insufficient-stock"],
        },
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "What is wrong, with its codes and figures."},
        "errors": {
            "type": "array",
            "description": "What is wrong with each field of a refused request.",
            "items": {
                "type": "object",
                "required": ["detail"],
                "properties": {
                    "pointer": {
                        "type": "string",
                        "description": "A field of the body, as a JSON Pointer: `#/lots/0/origin`.",
                    },
                    "parameter": {
                        "type": "string",
                        "description": "A parameter of the path, the query or the headers.",
                    },
                    "detail": {"type": "string"},
                },
            },
        },
    },
}

_HEADERS: Final[Mapping[str, str]] = {
    "ETag": "The version shown, to be sent back as `If-Match` with a change.",
    "Link": 'The address of the next page, `<…>; rel="next"` (RFC 8288); absent on the last one.',
    "Idempotency-Replayed": "`true` when this is the first answer to that key, given again.",
    "WWW-Authenticate": "`Bearer`, with what was wrong with the token (RFC 6750).",
    "Retry-After": "After how many seconds to try again.",
}

_HEADERS_OF: Final[Mapping[int, str]] = {
    HTTPStatus.UNAUTHORIZED: "WWW-Authenticate",
    HTTPStatus.FORBIDDEN: "WWW-Authenticate",
    HTTPStatus.CONFLICT: "Retry-After",
    HTTPStatus.SERVICE_UNAVAILABLE: "Retry-After",
}

_UNITS: Final = (
    (re.compile(r"(?:^|(?<!per)_)kg$"), "Kilograms."),
    (re.compile(r"_g$"), "Grams."),
    (re.compile(r"_pct$"), "Per cent."),
    (re.compile(r"_at$"), "RFC 3339 with an offset; answered in UTC."),
)

_UNIT_FILTERS: Final = frozenset({"lot", "unit", "dispatch"})
"""Parameters that name a unit of the book, which must be there."""
_UNIT_FIELDS: Final = _UNIT_FILTERS | {"units", "sack", "sacks", "pack", "subject", "case", "fails"}
"""Members of a body that do."""


def describe(app: FastAPI) -> None:
    """Let the service's document be completed the first time somebody asks for it."""
    plain = app.openapi

    def completed() -> Json:
        if app.openapi_schema is None:
            _complete(plain())
        return plain()

    app.openapi = completed  # type: ignore[method-assign] # FastAPI's own way to extend it


def _complete(document: Json) -> None:
    document["info"] |= {
        "description": ABOUT,
        "license": {"name": "Apache-2.0", "identifier": "Apache-2.0"},
    }
    document["tags"] = [{"name": name, "description": said} for name, said in TAGS.items()]
    components: Json = document["components"]
    components["headers"] = {
        name: {"description": said, "schema": {"type": "string"}} for name, said in _HEADERS.items()
    }
    components["responses"] = dict(_problem_responses())
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            _complete_operation(method, path, operation, components["schemas"])
    for name in ("HTTPValidationError", "ValidationError"):
        components["schemas"].pop(name, None)
    for schema in components["schemas"].values():
        _say_units(schema)
    _loosen_multiples(document)
    components["schemas"]["Problem"] = _PROBLEM


def _problem_responses() -> Iterator[tuple[str, Json]]:
    """Describe the refusals of each status once, and of all others together."""
    for status in sorted({kind.status for kind in KINDS.values()}):
        kinds = [
            f"- [`{slug}`](/problems/{slug}): {kind.title}"
            for slug, kind in sorted(KINDS.items())
            if kind.status == status
        ]
        yield f"Problem{status}", _problem_response("\n".join(kinds), _HEADERS_OF.get(status))
    yield "Problem", _problem_response("Any other problem", None)


def _problem_response(description: str, header: str | None) -> Json:
    schema = {"$ref": "#/components/schemas/Problem"}
    response: Json = {
        "description": description,
        "content": {"application/problem+json": {"schema": schema}},
    }
    if header:
        response["headers"] = _refer(header)
    return response


def _refer(header: str) -> Json:
    return {header: {"$ref": f"#/components/headers/{header}"}}


def _complete_operation(method: str, path: str, operation: Json, schemas: Json) -> None:
    parameters: list[Json] = operation.get("parameters", [])
    for parameter in parameters:
        _settle_parameter(parameter)
    answered = _answered_schema(operation, schemas)
    responses = operation["responses"]
    for status, response in responses.items():
        if status.startswith("2"):
            response["description"] = "Booked." if status == "201" else "The answer."
            own = response.get("headers", {})
            response["headers"] = own | _answer_headers(method, parameters, answered)
    if method == "get" and _is_card(answered):
        _say_unchanged(operation)
    for status in sorted(_refusals(method, path, operation, schemas)):
        responses[str(status)] = {"$ref": f"#/components/responses/Problem{status}"}
    if "security" not in operation:
        responses.pop("422", None)
    responses["default"] = {"$ref": "#/components/responses/Problem"}
    for needed in operation.get("security", []):
        permission = ", ".join(f"`{scope}`" for scopes in needed.values() for scope in scopes)
        operation["description"] += f"\n\nPermission: {permission}"


def _settle_parameter(parameter: Json) -> None:
    """Say that a parameter is text, not text or null, and that a change needs its version."""
    schema: Json = parameter["schema"]
    choices = [each for each in schema.pop("anyOf", []) if each != {"type": "null"}]
    if len(choices) == 1:
        schema |= choices[0]
    elif choices:
        schema["anyOf"] = choices
    if parameter["name"] == "If-Match":
        parameter["required"] = True
    if parameter["name"] == "Idempotency-Key":
        schema |= {"maxLength": 255, "pattern": "^[!-~]+$"}


def _answered_schema(operation: Json, schemas: Json) -> Json:
    for status, response in operation["responses"].items():
        if status.startswith("2"):
            content = response.get("content", {}).get("application/json", {})
            return _resolved(content.get("schema", {}), schemas)
    return {}


def _resolved(schema: Json, schemas: Json) -> Json:
    name = schema.get("$ref", "").rpartition("/")[2]
    found: Json = schemas[name] if name else schema
    return found


def _is_card(answered: Json) -> bool:
    return "version" in answered.get("properties", {})


def _answer_headers(method: str, parameters: list[Json], answered: Json) -> Json:
    names = {parameter["name"] for parameter in parameters}
    headers: Json = {}
    if _is_card(answered):
        headers |= _refer("ETag")
    if method == "get" and "cursor" in names:
        headers |= _refer("Link")
    if "Idempotency-Key" in names:
        headers |= _refer("Idempotency-Replayed")
    return headers


def _say_unchanged(operation: Json) -> None:
    operation["parameters"].append({
        "name": "If-None-Match",
        "in": "header",
        "required": False,
        "schema": {"type": "string"},
        "description": "The `ETag` you hold: the answer is 304 while it is still current.",
    })  # fmt: skip
    operation["responses"]["304"] = {
        "description": "Not changed since that version.",
        "headers": _refer("ETag"),
    }


def _refusals(method: str, path: str, operation: Json, schemas: Json) -> set[int]:
    """Tell with which statuses an operation can refuse, by what it reads and does."""
    if "security" not in operation:
        unready = {503} if path == "/readyz" else set()
        return {404} | unready if "{" in path else unready
    names = {parameter["name"] for parameter in operation.get("parameters", [])}
    refusals = {401, 403, 503}
    if names & {"cursor", "Idempotency-Key"}:
        refusals.add(400)
    names_units = bool(names & _UNIT_FILTERS) or _body_names_units(operation, schemas)
    if "{" in path or names_units:
        refusals.add(404)
    card = _is_card(_answered_schema(operation, schemas))
    if method != "get" or names_units or ("{code}" in path and not card):
        refusals.add(409)
    if method == "patch":
        refusals |= {412, 428}
    if "422" in operation["responses"]:
        refusals.add(422)
    if "requestBody" in operation:
        refusals |= {415, 422}
    return refusals


def _body_names_units(operation: Json, schemas: Json) -> bool:
    content = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
    return any(_unit_members(content.get("schema", {}), schemas))


def _unit_members(schema: Json, schemas: Json) -> Iterator[str]:
    """Name the members of a body, at any depth, that hold codes of units."""
    for name, member in _resolved(schema, schemas).get("properties", {}).items():
        for shape in (member, *member.get("anyOf", [])):
            items = shape.get("items", shape)
            for inner in (items, *items.get("anyOf", [])):
                if "$ref" in inner:
                    yield from _unit_members(inner, schemas)
                elif name in _UNIT_FIELDS:
                    yield name


def _say_units(schema: Json) -> None:
    for name, member in schema.get("properties", {}).items():
        for pattern, unit in _UNITS:
            if pattern.search(name):
                member.setdefault("description", unit)


def _loosen_multiples(node: object) -> None:
    """Say "at most 3 decimals" in words.

    `multipleOf: 0.001` means the same, but validators that divide binary floats refuse every
    eighth sound mass with it, 0.35 among them.
    """
    if isinstance(node, dict):
        if node.pop("multipleOf", None) is not None:
            node["description"] = f"{node.get('description', '')} At most 3 decimals.".strip()
        for member in node.values():
            _loosen_multiples(member)
    elif isinstance(node, list):
        for member in node:
            _loosen_multiples(member)

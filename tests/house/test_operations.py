"""Every operation has its permission, every refusal its page, every write its header."""

import ast
import json
import re
from collections.abc import Callable, Iterator
from html import unescape
from typing import Any

import pytest
from fastapi import FastAPI

from app.shared.kinds import KINDS
from app.shared.staff import GRANTS, Permission, Role
from tests.api import Api, problem
from tests.house.source import Module, called, modules

Operation = tuple[str, str, dict[str, Any]]

READS_BY_POST = {
    "/api/v1/cover/what-if": "what is supposed does not fit into an address",
    "/api/v1/epcis/proposals": "a document of somebody else's is read, and nothing is booked",
    "/api/v1/scans": "a scanned text is too long for an address, and has signs that none may have",
    "/api/v1/trace": "a set of units is too long for an address",
}
"""POSTs that write nothing, each with its reason."""


@pytest.fixture(scope="session")
def operations(built: FastAPI) -> list[Operation]:
    """Every operation under `/api/v1`: method, path and what the document says of it."""
    return list(operations_of(built))


def operations_of(service: FastAPI) -> Iterator[Operation]:
    document = json.loads(json.dumps(service.openapi()))
    for path, described in document["paths"].items():
        if path.startswith("/api/v1"):
            for method in described:
                yield method.upper(), path, described[method]


def _permissions(operation: dict[str, Any]) -> list[str]:
    return [
        scope for needed in operation.get("security", []) for scopes in needed.values()
        for scope in scopes
    ]  # fmt: skip


def _somewhere(path: str) -> str:
    """Fill in a path; nothing stands there, which nobody may learn without the permission."""
    return re.sub(r"\{number\}", "1", re.sub(r"\{(?!number)\w+\}", "X-1", path))


def test_every_operation_names_exactly_one_permission(operations: list[Operation]) -> None:
    others = {
        f"{method} {path}": _permissions(operation)
        for method, path, operation in operations
        if len(_permissions(operation)) != 1
    }

    assert len(operations) > 50
    assert not others
    assert {p for _, _, each in operations for p in _permissions(each)} <= set(Permission)


def test_every_permission_is_granted_to_a_role_besides_the_administrator_s() -> None:
    granted = {permission for role in Role for permission in GRANTS[role]}
    for_the_administrator_alone = set(Permission) - {
        permission for role in Role if role is not Role.ADMIN for permission in GRANTS[role]
    }

    assert granted == set(Permission)
    assert for_the_administrator_alone == {Permission.MACHINES, Permission.ADMIN}


def test_every_permission_opens_something(operations: list[Operation]) -> None:
    opening = {p for _, _, operation in operations for p in _permissions(operation)}

    # One opens a part of a request, the other pages alone.
    assert set(Permission) - opening == {Permission.OFF_RECIPE, Permission.ADMIN}


def test_reading_is_open_to_every_role(operations: list[Operation]) -> None:
    reads = {
        permission
        for method, _, operation in operations
        if method == "GET"
        for permission in _permissions(operation)
    }

    # The whole journal has prices in it, and costs are nothing else.
    assert reads == {Permission.READ, Permission.JOURNAL, Permission.PRICES}
    assert all(Permission.READ in GRANTS[role] for role in Role)


def test_every_post_that_writes_takes_an_idempotency_key(operations: list[Operation]) -> None:
    without = {
        path
        for method, path, operation in operations
        if method == "POST" and "Idempotency-Key" not in _header_names(operation)
    }

    assert without == READS_BY_POST.keys()


def test_every_patch_takes_the_version_it_changes(operations: list[Operation]) -> None:
    changes = [(path, operation) for method, path, operation in operations if method == "PATCH"]

    assert changes
    assert [path for path, each in changes if "If-Match" not in _header_names(each)] == []


def _header_names(operation: dict[str, Any]) -> set[str]:
    return {each["name"] for each in operation.get("parameters", []) if each["in"] == "header"}


@pytest.mark.parametrize("role", list(Role))
def test_a_role_without_the_permission_is_refused_before_anything_is_read(
    role: Role, api_as: Callable[..., Api], operations: list[Operation]
) -> None:
    somebody = api_as(role)

    for method, path, operation in operations:
        answer = somebody.send(method, _somewhere(path), b"")
        [permission] = _permissions(operation)
        if Permission(permission) in GRANTS[role]:
            assert answer.status_code != 403, f"{method} {path}"
        else:
            document = problem(answer, 403, "forbidden")
            assert permission in document["detail"], f"{method} {path}"
            assert f'scope="{permission}"' in answer.headers["www-authenticate"]


def test_without_a_token_every_operation_asks_for_one(
    service: FastAPI, operations: list[Operation]
) -> None:
    nobody = Api(service, None)

    for method, path, _ in operations:
        answer = nobody.send(method, _somewhere(path), b"")
        problem(answer, 401, "unauthorized")
        assert answer.headers["www-authenticate"] == "Bearer", f"{method} {path}"
    nobody.close()


def test_an_unknown_token_opens_no_operation(service: FastAPI, operations: list[Operation]) -> None:
    stranger = Api(service, "jb_of-another-roastery")

    for method, path, _ in operations:
        answer = stranger.send(method, _somewhere(path), b"")
        problem(answer, 401, "unauthorized")
        assert 'error="invalid_token"' in answer.headers["www-authenticate"], f"{method} {path}"
    stranger.close()


def test_every_kind_of_problem_has_a_page(service: FastAPI) -> None:
    reader = Api(service, None)

    for slug, kind in KINDS.items():
        answer = reader.send("GET", f"/problems/{slug}")
        assert answer.status_code == 200, slug
        assert answer.headers["content-type"].startswith("text/html"), slug
        assert kind.title in unescape(answer.text), slug
    listed = reader.send("GET", "/problems/").text
    assert [slug for slug in KINDS if f'href="/problems/{slug}"' not in listed] == []
    reader.close()


def test_every_refusal_that_is_raised_has_its_kind() -> None:
    raised = {
        f"{module.name}:{line}": slug
        for module in modules("app")
        for line, slug in _raised(module)
        if slug not in KINDS
    }

    assert not raised


def _raised(module: Module) -> Iterator[tuple[int, str]]:
    """Find the slugs that stand where a refusal is made."""
    places = {"Refused": 0, "problem": 0, "FieldRefused": 2}
    for call in module.calls():
        place = places.get(called(call))
        if place is None:
            continue
        slugs = [keyword.value for keyword in call.keywords if keyword.arg == "slug"]
        slugs += call.args[place : place + 1]
        for slug in slugs:
            if isinstance(slug, ast.Constant):
                yield call.lineno, str(slug.value)


def test_every_kind_of_problem_is_answered_somewhere() -> None:
    written = {slug for module in modules("app") for slug in _texts(module)}

    assert sorted(KINDS.keys() - written) == []


def _texts(module: Module) -> Iterator[str]:
    """Name every text of a module but the keys of the table of kinds itself."""
    nodes = list(module.nodes())
    keys = {
        id(key)
        for node in nodes
        if isinstance(node, ast.AnnAssign) and isinstance(node.value, ast.Dict)
        if isinstance(node.target, ast.Name) and node.target.id == "KINDS"
        for key in node.value.keys
    }
    for node in nodes:
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in keys:
            yield node.value


def test_every_kind_of_problem_says_what_to_do() -> None:
    assert [slug for slug, kind in KINDS.items() if not kind.meaning.endswith(".")] == []
    assert [slug for slug, kind in KINDS.items() if not 400 <= kind.status <= 599] == []

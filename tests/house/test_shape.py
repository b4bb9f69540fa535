"""Code stays small, commits in one place, and keeps binary floats and local times out."""

import ast
from collections.abc import Iterator

from tests.house.source import Module, called, length, modules

CODE = modules("app", "seed")

COMMITS = {
    "app/shared/db.py": "the one place that commits",
}
"""Modules that may commit, each with its reason."""

FLOATS = {
    "app/standards/forecasting.py": "forecasts, which are statistics",
    "app/standards/outlines.py": "areas on the globe, by a library that knows floats alone",
    "app/standards/planning.py": "quantiles of the normal distribution, in the standard library",
}
"""Modules that may make a binary float, each with its reason; never of a mass."""

_ROUTE_METHODS = frozenset({"get", "post", "patch", "put", "delete"})


def test_there_is_code_to_look_at() -> None:
    assert len(CODE) > 50


def test_no_module_is_longer_than_400_lines() -> None:
    longer = {m.name: lines for m in CODE if (lines := len(m.text.splitlines())) > 400}

    assert not longer


def test_no_function_is_longer_than_50_lines() -> None:
    longer = {
        f"{module.name}: {function.name}": length(function)
        for module in CODE
        for function in module.functions()
        if length(function) > 50
    }

    assert not longer


def test_no_body_of_a_route_is_longer_than_15_lines() -> None:
    bodies = {f"{m.name}: {route.name}": _body_length(route) for m in CODE for route in _routes(m)}

    assert len(bodies) > 50
    assert {name: lines for name, lines in bodies.items() if lines > 15} == {}


def _routes(module: Module) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for function in module.functions():
        decorators = [each for each in function.decorator_list if isinstance(each, ast.Call)]
        if any(called(each) in _ROUTE_METHODS for each in decorators):
            yield function


def _body_length(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def test_every_module_opens_with_a_sentence() -> None:
    mute = [m.name for m in modules("app", "seed", "tests", "alembic") if not _opening(m)]

    assert not mute


def _opening(module: Module) -> str:
    said = ast.get_docstring(module.tree) or ""
    first = said.partition("\n\n")[0]
    return first if first.endswith((".", ":", "`.")) else ""


def test_nothing_but_the_database_module_commits() -> None:
    committing = {m.name for m in CODE if any(called(call) == "commit" for call in m.calls())}

    assert committing == COMMITS.keys()


def test_nothing_makes_a_binary_float() -> None:
    floating = {m.name for m in CODE if any(called(call) == "float" for call in m.calls())}

    assert floating - FLOATS.keys() == set()


def test_no_time_is_read_without_its_zone() -> None:
    zoneless = [
        f"{module.name}:{call.lineno}"
        for module in CODE
        for call in module.calls()
        if _reads_zoneless(call)
    ]

    assert not zoneless


def _reads_zoneless(call: ast.Call) -> bool:
    if called(call) in {"utcnow", "utcfromtimestamp", "today"}:
        return True
    zoned = {"now": 1, "fromtimestamp": 2}
    if called(call) not in zoned or not isinstance(call.func, ast.Attribute):
        return False
    return len(call.args) < zoned[called(call)] and not any(k.arg == "tz" for k in call.keywords)

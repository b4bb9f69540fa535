"""Everything that the API takes has a page; what has none is named here with the reason."""

import ast
import importlib
import inspect
import pkgutil
import re
from collections.abc import Iterator
from types import ModuleType
from typing import Any, Final

from fastapi import FastAPI
from fastapi.routing import APIRoute

from app import web

WITHOUT: Final = {
    # Documents that other systems write: EPCIS, and plots as GeoJSON.
    "/epcis/proposals",
    "/lots/{code}/plots",
}
"""Paths of the API that somebody may post to and that have no page."""


def _writes(service: FastAPI) -> Iterator[tuple[str, set[object]]]:
    """Name each path that is written to, with what its route hands to the clerk.

    That is the action, and of a card the shelf it stands on.
    """
    for route in service.router.routes:
        if not isinstance(route, APIRoute) or not route.path.startswith("/api/v1"):
            continue
        if {"POST", "PUT", "PATCH", "DELETE"} & (route.methods or set()):
            endpoint: Any = inspect.unwrap(route.endpoint)
            code, names = inspect.getsource(endpoint), endpoint.__globals__
            called = re.findall(r"clerk\.\w+\(\s*([\w.]+)(?:, ([A-Z_]+))?", code)
            given = {_named(each, names) for pair in called for each in pair if each}
            yield route.path.removeprefix("/api/v1"), given


def _named(path: str, names: dict[str, Any]) -> Any:
    first, *steps = path.split(".")
    found = names.get(first)
    for step in steps:
        found = getattr(found, step, None)
    return found


def _used(module: ModuleType) -> Iterator[object]:
    """Name everything that a module speaks of."""
    for node in ast.walk(ast.parse(inspect.getsource(module))):
        if isinstance(node, ast.Name | ast.Attribute):
            said = ast.unparse(node)
            if re.fullmatch(r"[\w.]+", said):
                yield _named(said, vars(module))


def test_everything_that_the_api_takes_has_a_page(service: FastAPI) -> None:
    modules = [
        importlib.import_module(f"app.web.{found.name}")
        for found in pkgutil.iter_modules(web.__path__)
    ]
    used = {id(each) for module in modules for each in _used(module)}
    missing = {path for path, given in _writes(service) if not given or {*map(id, given)} - used}

    assert missing == WITHOUT

"""What is there to be named: read off the lists of the API, so that made up requests may hit it."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from itertools import chain
from typing import Any, NamedTuple

from app.shared.answers import read_json
from tests.api import Api
from tests.notes.operations import operation_of
from tests.notes.story import Told

_MOST = 60
_OF_UNITS = ("trace", "units", "evidence", "claims", "mass-balance")
"""Paths that take any unit and list none."""

_LISTS_OF: dict[str, tuple[str, ...]] = {
    "lot": ("lots",), "lots": ("lots",), "same_shipment_as": ("lots",),
    "sack": ("sacks",), "sacks": ("sacks",), "pack": ("packs",), "product": ("products",),
    "dispatch": ("dispatches",), "order": ("orders",), "customer": ("customers",),
    "supplier": ("suppliers",), "machine": ("machines",), "style": ("styles",),
    "location": ("locations",), "to": ("locations",), "from": ("locations",),
    "place": ("locations",), "parent": ("locations",), "shop": ("customers",),
    "material": ("materials",), "material_lot": ("material-lots",), "contract": ("contracts",),
    "certificate": ("certificates",), "instrument": ("instruments",),
    "delivery": ("deliveries",), "recall": ("recalls",), "recipe": ("recipes",),
    "unit": ("sacks", "roasts", "blends", "packs"), "units": ("sacks", "roasts", "packs"),
    "subject": ("lots", "sacks", "roasts"), "codes": ("sacks", "packs"),
}  # fmt: skip
"""What a member of a body or a parameter of a query names, by its name."""


class Known(NamedTuple):
    """Codes, names and numbers that are there."""

    paths: dict[str, list[str]]
    """What may stand in a path, by the path until there: `/api/v1/lots/`."""
    members: dict[str, list[str]]
    """What a member of a body or a parameter of a query may say, by its name."""
    cursors: dict[str, str]
    """A cursor of each list that goes on."""
    booked: dict[str, list[dict[str, Any]]]
    """Bodies that an operation took, by its method and path template."""


def what_is_there(api: Api, document: dict[str, Any], story: Iterable[Told]) -> Known:
    """Tell a story, and read every list that says what may stand in a path behind it."""
    booked = _bodies(document, story)
    lists, cursors = {}, {}
    for path in document["paths"]:
        if not any(each["name"] == "cursor" for each in _asked_of(document, path)):
            continue
        if "{" in path:
            continue
        page = read_json(api.send("GET", f"{path}?limit={_MOST}").content)
        lists[path] = page["items"]
        short = read_json(api.send("GET", f"{path}?limit=1").content)
        if short.get("next"):
            cursors[path] = short["next"]
    paths = dict(_by_path(document, lists))
    units = [each for path in ("lots", *_LISTS_OF["unit"]) for each in paths[f"/api/v1/{path}/"]]
    paths |= {f"/api/v1/{path}/": units for path in _OF_UNITS}
    members = {
        name: list(chain.from_iterable(paths[f"/api/v1/{each}/"] for each in there))
        for name, there in _LISTS_OF.items()
    }
    return Known(paths, {name: some for name, some in members.items() if some}, cursors, booked)


def _bodies(document: dict[str, Any], story: Iterable[Told]) -> dict[str, list[dict[str, Any]]]:
    """Gather what was booked, without the code that nothing else can have any more."""
    bodies: defaultdict[str, list[dict[str, Any]]] = defaultdict(list)
    for told in story:
        body = told.example.request.body
        if told.answer.is_success and isinstance(body, dict):
            method, path, _ = operation_of(document, told.method, told.path)
            said = {name: value for name, value in body.items() if name != "code"}
            bodies[f"{method.upper()} {path}"].append(said)
    return bodies


def _asked_of(document: dict[str, Any], path: str) -> list[dict[str, Any]]:
    asked: list[dict[str, Any]] = document["paths"][path].get("get", {}).get("parameters", [])
    return asked


def _by_path(
    document: dict[str, Any], lists: dict[str, list[dict[str, Any]]]
) -> Iterator[tuple[str, list[str]]]:
    for path in document["paths"]:
        before, _, rest = path.partition("/{")
        name = rest.partition("}")[0]
        items = lists.get(before, [])
        found = [str(item.get(name, item.get("id", ""))) for item in items if name]
        if some := [each for each in found if each]:
            yield f"{before}/", some

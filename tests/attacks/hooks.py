"""What Schemathesis is told of this service: read by Schemathesis alone.

Most of what it makes up names something that is there, and some is as what was booked, as
`JUTEBOOK_KNOWN` says (JSON as of `known.py`). `JUTEBOOK_MAY` lists the permissions of whoever asks.
How often which operation answered with which status is written to `JUTEBOOK_ANSWERED` at the end.
"""

import atexit
import json
import os
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any
from zlib import crc32

import schemathesis
from schemathesis.core.parameters import ParameterLocation
from schemathesis.generation.meta import TestPhase

from tests.attacks.exemptions import BROKE_NOTHING, is_exempt

KNOWN: dict[str, dict[str, Any]] = json.loads(Path(os.environ["JUTEBOOK_KNOWN"]).read_text())
MAY = frozenset(json.loads(os.environ["JUTEBOOK_MAY"]))
ANSWERED: defaultdict[str, Counter[int]] = defaultdict(Counter)
VERSIONS: dict[str, str] = {}
"""The version that a card was last answered with, by path."""
_KEYS = Counter[str]()


@atexit.register
def _tell() -> None:
    Path(os.environ["JUTEBOOK_ANSWERED"]).write_text(json.dumps(ANSWERED))


def _choose(made_up: object, there: list[str]) -> Any:
    """Put something that is there in its place, always the same for the same; one in four stays."""
    chosen = crc32(repr(made_up).encode())
    return there[chosen // 4 % len(there)] if chosen % 4 else made_up


def _name_what_is_there(value: Any, name: str = "") -> Any:
    if isinstance(value, dict):
        return {key: _name_what_is_there(member, key) for key, member in value.items()}
    if isinstance(value, list):
        return [_name_what_is_there(each, name) for each in value]
    if isinstance(value, str) and name in KNOWN["members"]:
        return _choose(value, KNOWN["members"][name])
    return value


def _like_what_was_booked(made_up: Any, operation: str) -> Any:
    """Put what was booked once in the place of one in three, half of them with one change."""
    chosen = crc32(repr(made_up).encode())
    booked = KNOWN["booked"].get(operation)
    if not booked or not isinstance(made_up, dict) or chosen % 3:
        return made_up
    like = dict(booked[chosen // 3 % len(booked)])
    if made_up and chosen % 2:
        name = [*made_up][chosen // 6 % len(made_up)]
        like[name] = made_up[name]
    return like


@schemathesis.hook
def map_case(_: object, case: Any) -> Any:
    """Put what is there into the parts of a request that are meant to be right."""

    def meant_right(where: ParameterLocation) -> bool:
        return case.meta is None or not case.meta.is_negative_at(where)

    if case.path_parameters and meant_right(ParameterLocation.PATH):
        case.path_parameters = dict(_path(case.path, case.path_parameters))
    if case.query and meant_right(ParameterLocation.QUERY):
        query = _name_what_is_there(dict(case.query))
        if "cursor" in query and case.path in KNOWN["cursors"]:
            query["cursor"] = _choose(query["cursor"], [KNOWN["cursors"][case.path]])
        case.query = query
    if isinstance(case.body, dict | list) and meant_right(ParameterLocation.BODY):
        case.body = _name_what_is_there(case.body)
        if case.meta is None or case.meta.phase.name is TestPhase.FUZZING:  # the others are exact
            case.body = _like_what_was_booked(case.body, case.operation.label)
    if case.headers and meant_right(ParameterLocation.HEADER):
        _say_who_is_meant(case.headers, _asked(case))
    return case


def _asked(case: Any) -> str:
    return f"{case.path} {case.path_parameters}"


def _path(path: str, made_up: dict[str, Any]) -> Any:
    for name, value in made_up.items():
        before = path.partition(f"{{{name}}}")[0]
        there = KNOWN["paths"].get(before)
        if there is None and "{" in before:
            there = [str(number) for number in range(1, 9)]
        yield name, _choose(value, there) if there else value


def _say_who_is_meant(headers: Any, asked: str) -> None:
    """Let a key be a new one, seven times in eight, and a version the newest one known."""
    if key := headers.get("Idempotency-Key"):
        _KEYS[key] += 1
        if _KEYS[key] % 8:
            headers["Idempotency-Key"] = f"{key[:200]}-{_KEYS[key]}"
    if "If-Match" in headers:
        _KEYS["If-Match"] += 1
        if _KEYS["If-Match"] % 8:
            headers["If-Match"] = VERSIONS.get(asked, '"1"')


@schemathesis.hook
def after_call(_: object, case: Any, response: Any) -> None:
    """Count what was answered, and keep the version of a card."""
    if response.request.method == case.operation.method.upper():
        ANSWERED[case.operation.label][response.status_code] += 1
        if version := response.headers.get("etag"):
            VERSIONS[_asked(case)] = version[0]


@schemathesis.hook
def filter_failure(_: object, failure: Any, case: Any, response: Any) -> bool:
    """Leave out what a check cannot know: each is named, with its reason, in `exemptions.py`."""
    return BROKE_NOTHING not in failure.message and not is_exempt(
        type(failure).__name__, case.operation.label, response
    )


@schemathesis.check
def within_permissions(_: object, response: Any, case: Any) -> None:
    """Hold what is answered against the permissions that the document names."""
    if response.request.method != case.operation.method.upper():
        return
    needed = {
        scope
        for each in case.operation.definition.raw.get("security", [])
        for scopes in each.values()
        for scope in scopes
    }
    if needed <= MAY:
        assert response.status_code != 403, "refused, though it may"
    else:
        assert not 200 <= response.status_code < 300, "done, though it may not"

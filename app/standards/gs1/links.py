"""GS1 Digital Link: element strings as a web address, uncompressed.

`https://id.gs1.org/01/09521234000105/10/A1?15=271105`: a key, what tells one of its kind from the
others in a fixed order, and the rest in the query (GS1 Digital Link standard, URI syntax). The last
key in the path counts, whatever stands before it; parameters that are no numbers are passed over,
and so is a fragment. Words instead of numbers (`/gtin/…`) went out of the standard and are no key.
"""

import re
from collections.abc import Iterator, Sequence
from typing import Final
from urllib.parse import quote, unquote, unquote_plus

from app.standards.gs1.elements import Element, element, is_predefined
from app.standards.gs1.rules import Rule, RuleBroken
from app.standards.gs1.together import KEYS, NO_ATTRIBUTE

RESOLVER: Final = "https://id.gs1.org"
"""Where a link leads that names no other house."""

_SCHEMES: Final = ("http://", "https://", "HTTP://", "HTTPS://")
"""Small or large, not mixed: an alphanumeric QR code has large letters alone."""
_HOST: Final = re.compile(r"(?:[A-Za-z0-9.\-]+|\[[0-9A-Fa-f:.]+\])(?::[0-9]+)?")
_ADDRESS: Final = re.compile(r"[A-Za-z0-9\-._~:/?#\[\]@!$&'()*+,;=%]*")
_ESCAPES: Final = re.compile(r"%(?![0-9A-Fa-f]{2})|%00")
_NUMBERED: Final = re.compile(r"[0-9]+")
_GTIN: Final = re.compile(r"[0-9]{8}|[0-9]{12,13}")
_WITH_GTIN: Final = ("01", "02", "03")


def is_address(text: str) -> bool:
    """Tell whether a text is a web address, of GS1 or not."""
    return text.startswith(_SCHEMES)


def parse_link(text: str, *, zeros_may_lack: bool = False) -> list[Element]:
    """Read a link; with `zeros_may_lack`, a GTIN of fewer than 14 digits is filled up.

    Raises:
        RuleBroken: `no_key` for an address that names nothing of GS1, else the rule it breaks.
    """
    path, query = _split(text)
    named = _path_pairs(path)
    pairs = [*named, *_query_pairs(query)]
    ais = [ai for ai, _ in pairs]
    for ai in ais[len(named) :]:
        if ais.count(ai) > 1:
            raise RuleBroken(Rule.REPEATED, f"({ai}) stands twice in the link", ai)
        if _belongs_in_path(ai, ais[: len(named)]):
            raise RuleBroken(Rule.LINK, f"({ai}) stands in the query, not in the path", ai)
    return [element(ai, _filled(ai, value, zeros_may_lack)) for ai, value in pairs]


def _split(text: str) -> tuple[str, str]:
    if not is_address(text):
        raise RuleBroken(Rule.NO_KEY, "a link begins with http:// or https://")
    if not _ADDRESS.fullmatch(text) or _ESCAPES.search(text):
        raise RuleBroken(Rule.LINK, "the link has characters that no web address has")
    rest, _, _ = text.partition("//")[2].partition("#")
    whole_path, _, query = rest.partition("?")
    host, _, path = whole_path.partition("/")
    if not _HOST.fullmatch(host):
        raise RuleBroken(Rule.LINK, f"“{host}” is no host")
    return path, query


def _path_pairs(path: str) -> list[tuple[str, str]]:
    """Find the last key of a path and what follows it in pairs."""
    steps = path.split("/")
    starts = [at for at, step in enumerate(steps[:-1]) if step in KEYS]
    for at in reversed(starts):
        followers = steps[at + 2 :: 2]
        if (len(steps) - at) % 2 == 0 and _in_order(steps[at], followers):
            values = map(unquote, steps[at + 1 :: 2])
            return list(zip([steps[at], *followers], values, strict=True))
    if starts:
        raise RuleBroken(
            Rule.LINK, f"what follows ({steps[starts[-1]]}) in the path is not in its order"
        )
    raise RuleBroken(Rule.NO_KEY, "no key of GS1 stands in the path of the link")


def _in_order(key: str, followers: Sequence[str]) -> bool:
    """Tell whether these may follow a key: some of one of its rows, in their order."""
    if not followers:
        return True
    return any([each for each in row if each in followers] == list(followers) for row in KEYS[key])


def _belongs_in_path(ai: str, path: Sequence[str]) -> bool:
    key, *followers = path
    return any({ai, *followers} <= set(row) for row in KEYS[key])


def _query_pairs(query: str) -> Iterator[tuple[str, str]]:
    for parameter in query.split("&"):
        name, _, value = parameter.partition("=")
        if not _NUMBERED.fullmatch(name):
            continue
        if name in NO_ATTRIBUTE:
            raise RuleBroken(Rule.LINK, f"({name}) has no place in the query of a link", name)
        yield name, unquote_plus(value)


def _filled(ai: str, value: str, zeros_may_lack: bool) -> str:
    short = zeros_may_lack and ai in _WITH_GTIN and _GTIN.fullmatch(value)
    return value.zfill(14) if short else value


def link(elements: Sequence[Element], stem: str = RESOLVER) -> str:
    """Write elements as a link; the first key among them is what it names.

    Raises:
        RuleBroken: where there is no key, and for what has no place in a link.
    """
    there = {each.ai: each.value for each in elements}
    key = next((ai for ai in there if ai in KEYS), None)
    if key is None:
        raise RuleBroken(Rule.NO_KEY, "no key of GS1 is among the elements")
    row = next((row for row in KEYS[key] if there.keys() & set(row)), ())
    path = [key, *(ai for ai in row if ai in there)]
    # The order of the standard's own software: fixed lengths first, else as they came.
    rest = sorted((ai for ai in there if ai not in path), key=lambda ai: not is_predefined(ai))
    for ai in rest:
        if ai in NO_ATTRIBUTE or any(ai in each for each in KEYS[key]):
            raise RuleBroken(Rule.LINK, f"({ai}) has no place in a link of ({key})", ai)
    steps = "".join(f"/{ai}/{quote(there[ai], safe='')}" for ai in path)
    query = "&".join(f"{ai}={quote(there[ai], safe='')}" for ai in rest)
    return f"{stem.rstrip('/')}{steps}{'?' if query else ''}{query}"

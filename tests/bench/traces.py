"""Traces over HTTP at several sizes of the book, beside a walk written with nothing but the driver.

The driver's walk reads the flows and units that were reached, works out each share as an exact
fraction and writes JSON: what anybody would write who had to answer it once. What it leaves out is
green behind a unit, customers, suppliers, packing materials, the mass balance and who may ask.
"""

import json
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from fractions import Fraction
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any, Final, NamedTuple

from sqlalchemy import create_engine, make_url, text

from app.shared.answers import read_json
from tests.bench.bare import as_served, mark_of, open_bare
from tests.bench.machine import peak_mib, timed
from tests.bench.requests import Book, book
from tests.serving import ServerProcess, Wire

# Crossed, so that SQLite begins at what was reached: it knows nothing of how large a table is.
_FORWARD: Final = """
WITH RECURSIVE reached(id) AS (
  SELECT id FROM unit WHERE code = {0}
  UNION SELECT flow.target_id FROM reached CROSS JOIN flow WHERE flow.source_id = reached.id
)"""
_BACKWARD: Final = """
WITH RECURSIVE reached(id) AS (
  SELECT id FROM unit WHERE code = {0}
  UNION SELECT flow.source_id FROM reached CROSS JOIN flow WHERE flow.target_id = reached.id
)"""
_ROWS: Final = """
SELECT unit.id, code, unit.kind, made_g, left_g, entry.happened_at
FROM reached CROSS JOIN unit CROSS JOIN entry
WHERE unit.id = reached.id AND entry.id = born_entry_id ORDER BY unit.id"""
_FLOWS: Final = """
SELECT source_id, target_id, grams FROM reached CROSS JOIN flow WHERE target_id = reached.id
ORDER BY target_id"""

TIMES: Final = 15
"""How often each is asked; the median counts, and the first is not among them."""


class Line(NamedTuple):
    """One trace at one size of the book."""

    name: str
    flows: int
    units: int
    ms: float
    bare_ms: float
    walk_ms: float
    """Of the driver's, what its two statements took."""
    peak_mib: float
    """The most memory that the server had until then."""
    times_smallest: float
    """Beside the same question to the smallest book: the middle of what it was in each round."""


class Start(NamedTuple):
    """What is traced."""

    name: str
    code: str
    direction: str

    @property
    def path(self) -> str:
        """Where it is answered."""
        return f"/trace/{self.code}?direction={self.direction}"


def measure(url: Callable[[int], str], sizes: list[int]) -> Iterator[Line]:
    """Fill a book of each size, unless there is one at that URL, and trace from the same units.

    Books of all sizes begin alike, so what stands in the middle of the smallest reaches the same
    in each. They take turns, since a machine that slows down is to slow down for all.
    """
    urls = {flows: url(flows) for flows in sorted(sizes)}
    filled = {flows: _there(there) or book(there, flows) for flows, there in urls.items()}
    starts = list(_starts(urls[min(sizes)]))
    with ExitStack() as open_until_then:
        asked = [_Asked(flows, each, open_until_then) for flows, each in filled.items()]
        for start in starts:
            yield from _lines(start, asked)


def _there(url: str) -> Book | None:
    """Take a book that was filled before: ten million flows are not made in a minute."""
    file = make_url(url).database
    if not url.startswith("sqlite") or file is None or not Path(file).exists():
        return None
    return book(url, 0)


class _Asked:
    """A book that is served, and read by the driver, until the stack closes."""

    def __init__(self, flows: int, filled: Book, stack: ExitStack) -> None:
        self.flows = flows
        self.bare = open_bare(filled.settings.database_url)
        stack.callback(self.bare.close)
        self.service = stack.enter_context(ServerProcess(as_served, filled.settings))
        self.wire = stack.enter_context(Wire(self.service.address, filled.token))

    def acts(self, start: Start) -> tuple[Callable[[], object], ...]:
        """Ask the service, the driver for all of it, and the driver for its walk alone."""
        code, direction = start.code, start.direction
        return (
            partial(self.wire.read, start.path),
            partial(bare_trace, self.bare, code, direction),
            partial(bare_walk, self.bare, code, direction),
        )


def _lines(start: Start, asked: Sequence[_Asked]) -> Iterator[Line]:
    acts = [each.acts(start) for each in asked]
    rounds = [
        [[timed(act)[0].seconds * 1000 for act in of_one] for of_one in acts]
        for _ in range(TIMES + 1)
    ][1:]
    smallest = [size[0] for size, *_ in rounds]
    for number, each in enumerate(asked):
        ms, bare_ms, walk_ms = (
            median(taken) for taken in zip(*(sizes[number] for sizes in rounds), strict=True)
        )
        yield Line(
            start.name,
            each.flows,
            len(read_json(each.wire.read(start.path))["units"]),
            ms,
            bare_ms,
            walk_ms,
            peak_mib(each.service.pid),
            median(sizes[number][0] / first for sizes, first in zip(rounds, smallest, strict=True)),
        )


def _starts(url: str) -> Iterator[Start]:
    """Name a sack, a lot and a pack in the middle of the book."""
    engine = create_engine(url.replace("postgresql://", "postgresql+psycopg://"))
    with engine.connect() as connection:
        for name, kind, direction in (
            ("a sack, forward", "sack", "forward"),
            ("a lot of 300 sacks, forward", "lot", "forward"),
            ("a pack, backward", "pack", "backward"),
        ):
            code = connection.scalar(text(
                "SELECT code FROM unit WHERE kind = :kind AND left_g < made_g "
                "AND id >= (SELECT MAX(id) / 2 FROM unit) ORDER BY id LIMIT 1"
            ), {"kind": kind})  # fmt: skip
            yield Start(name, str(code), direction)
    engine.dispose()


def bare_walk(connection: Any, code: str, direction: str) -> tuple[list[Any], list[Any]]:
    """Read the reached units and the flows between them."""
    walk = (_FORWARD if direction == "forward" else _BACKWARD).format(mark_of(connection))
    units = connection.execute(walk + _ROWS, (code,)).fetchall()
    flows = connection.execute(walk + _FLOWS, (code,)).fetchall()
    return units, flows


def bare_trace(connection: Any, code: str, direction: str) -> bytes:
    """Answer a trace with each unit's share, exact."""
    units, flows = bare_walk(connection, code, direction)
    into: dict[int, list[tuple[int, int]]] = defaultdict(list)
    out: dict[int, list[tuple[int, int]]] = defaultdict(list)
    whole: dict[int, int] = defaultdict(int)
    for source, target, grams in flows:
        into[target].append((source, grams))
        out[source].append((target, grams))
        whole[target] += grams
    start = next(unit[0] for unit in units if unit[1] == code)
    shares = {start: Fraction(1)}
    for unit in units if direction == "forward" else reversed(units):
        number = unit[0]
        if number == start:
            continue
        if direction == "forward":
            sum_g = sum(shares[s] * grams for s, grams in into[number] if s in shares)
            shares[number] = Fraction(sum_g) / whole[number]
        else:
            shares[number] = sum(
                (shares[t] * Fraction(grams, whole[t]) for t, grams in out[number] if t in shares),
                Fraction(0),
            )
    codes = {unit[0]: unit[1] for unit in units}
    return json.dumps({
        "units": [
            {
                "code": unit[1], "kind": unit[2], "made_kg": unit[3] / 1000,
                "left_kg": unit[4] / 1000, "happened_at": str(unit[5]),
                "share_pct": round(float(shares[unit[0]] * 100), 6),
                "suspect_kg": round(shares[unit[0]] * unit[3]) / 1000,
            }
            for unit in units
        ],
        "flows": [
            {"source": codes[source], "target": codes[target], "kg": grams / 1000}
            for source, target, grams in flows if source in codes
        ],
    }).encode()  # fmt: skip

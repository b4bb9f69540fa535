"""Prints how long cover takes in a large book: `python -m tests.bench.cover --lots 5000`.

Three years of draws beside bare group-bys by the driver, which read the same rows and make nothing
of them. SQLite in a temporary folder, or a PostgreSQL server of its own with `--postgresql`.
"""

import argparse
import os
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from statistics import median
from typing import Any

from sqlalchemy import Engine, insert, text
from sqlmodel import Session, SQLModel

from app.cover.forecasts.queries import Asked as ForecastAsked
from app.cover.forecasts.queries import forecasts
from app.cover.forward import forward
from app.cover.frames import Asked
from app.cover.ordering import orders
from app.cover.projecting import projection
from app.cover.queries import cover
from app.cover.schemas import By, ProjectionOut, WhatIfIn
from app.cover.supposing import what_if
from app.schema import migrate
from app.settings import Settings
from app.shared.answers import to_json
from app.shared.db import batched, open_engine, reading
from app.shared.paging import KeyPage
from tests.bench.__main__ import database
from tests.bench.machine import peak_mib, timed

SACKS = 20
STYLES = 20
SACK_G = 60_000
DAYS = 3 * 365
ROASTS_A_DAY = 40
DRAW_G = 6_000
TIMES = 5

Row = dict[str, Any]

_STOCK = (
    "SELECT s.lot_id, sum(u.left_g) FROM unit u JOIN sack s ON s.unit_id = u.id "
    "WHERE u.left_g > 0 GROUP BY s.lot_id"
)
_USE = (
    "SELECT s.lot_id, date(e.happened_at), sum(f.grams) FROM entry e "
    "JOIN unit u ON u.born_entry_id = e.id AND u.kind = 'roast' AND u.voided_entry_id IS NULL "
    "JOIN flow f ON f.target_id = u.id JOIN sack s ON s.unit_id = f.source_id "
    "WHERE e.happened_at >= :since GROUP BY s.lot_id, date(e.happened_at)"
)


class _Filler:
    """Makes rows by table, and writes them in bulk; the journal's hashes are left blank."""

    def __init__(self, lots: int) -> None:
        self.rows: dict[str, list[Row]] = {}
        self.today = datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
        self._units = 0
        self._entries = 0
        self._green(lots)
        self._styles()
        self._draws(lots)

    def _add(self, table: str, **row: object) -> None:
        self.rows.setdefault(table, []).append(row)

    def _entry(self, kind: str, at: datetime) -> int:
        self._entries += 1
        self._add("entry", id=self._entries, kind=kind, happened_at=at, recorded_at=at, who="bench",
                  facts="{}", previous_sha256="0" * 64, sha256="0" * 64)  # fmt: skip
        return self._entries

    def _unit(self, kind: str, entry: int, made_g: int, left_g: int) -> int:
        self._units += 1
        self._add("unit", id=self._units, code=f"{kind[0].upper()}-{self._units}", kind=kind,
                  made_g=made_g, left_g=left_g, born_entry_id=entry)  # fmt: skip
        return self._units

    def _green(self, lots: int) -> None:
        self.sacks: list[int] = []
        began = self.today - timedelta(days=DAYS)
        for number in range(lots):
            entry = self._entry("delivery", began)
            self._add("delivery", id=number + 1, code=f"A-{number}", entry_id=entry)
            lot = self._unit("lot", entry, SACKS * SACK_G, 0)
            self._add("green_lot", unit_id=lot, delivery_id=number + 1, name=f"Lot {number}",
                      origin=("ET", "KE", "BR", "CO")[number % 4])  # fmt: skip
            for place in range(SACKS):
                sack = self._unit("sack", entry, SACK_G, SACK_G)
                self._add("sack", unit_id=sack, lot_id=lot, number=place + 1, condition="sound")
                self._add("flow", source_id=lot, target_id=sack, grams=SACK_G)
                self.sacks.append(sack)

    def _styles(self) -> None:
        """Make styles of one component, which lots in pairs can fill."""
        codes = [unit["code"] for unit in self.rows["unit"] if unit["kind"] == "lot"]
        for number in range(STYLES):
            fills = [code for at, code in enumerate(codes) if at // 2 % STYLES == number]
            self._add("style", id=number + 1, version=1, name=f"Style {number}",
                      name_key=f"style {number}",
                      green=[{"share_milli": 100_000, "lots": fills}])  # fmt: skip

    def _draws(self, lots: int) -> None:
        """Let every lot be drawn on in turn, two sacks a roast."""
        drawn = 0
        units = self.rows["unit"]
        for day in range(DAYS):
            for run in range(ROASTS_A_DAY):
                at = self.today - timedelta(days=DAYS - day) + timedelta(minutes=15 * run)
                entry = self._entry("roast", at)
                roast = self._unit("roast", entry, DRAW_G * 17 // 10, 0)
                self._add("roast", unit_id=roast, charge_g=2 * DRAW_G, passed=True, checks="[]",
                          style="Style", style_id=drawn % lots // 2 % STYLES + 1,
                          style_version=1)  # fmt: skip
                for _ in range(2):
                    number = drawn * SACKS % len(self.sacks)
                    sack = self.sacks[number + drawn // lots % SACKS]
                    units[sack - 1]["left_g"] -= DRAW_G
                    self._add("flow", source_id=sack, target_id=roast, grams=DRAW_G)
                    drawn += 1

    def write(self, engine: Engine) -> None:
        """Write everything, what is referred to first."""
        tables = SQLModel.metadata.tables
        with engine.begin() as connection:
            for name in (
                "entry",
                "unit",
                "delivery",
                "green_lot",
                "sack",
                "style",
                "roast",
                "flow",
            ):
                for some in batched(self.rows[name], 20_000):
                    connection.execute(insert(tables[name]), some)
        with engine.connect() as connection:
            connection.execute(text("ANALYZE"))
            connection.commit()


def _timed(act: Callable[[], int]) -> tuple[float, float, int]:
    """Take the median by the clock, and how long this process itself worked."""
    runs = [timed(act) for _ in range(TIMES)]
    seconds, at_work_s = (median(each) for each in zip(*(took for took, _ in runs), strict=True))
    return seconds, at_work_s, runs[-1][1]


def measure(engine: Engine, settings: Settings) -> Iterator[tuple[str, float, float, int]]:
    """Time each question, its answer written as JSON; the bare statements come first."""
    since = (datetime.now(UTC) - timedelta(days=56)).strftime("%Y-%m-%d")

    def bare() -> int:
        with engine.connect() as connection:
            connection.execute(text(_USE), {"since": since}).all()
            return len(connection.execute(text(_STOCK)).all())

    def asked(question: Callable[[Session], Any]) -> Callable[[], int]:
        def act() -> int:
            with reading(engine) as session:
                answer = question(session)
                to_json(answer)
                return len(answer.days if isinstance(answer, ProjectionOut) else answer.items)

        return act

    def by(key: By, as_of: date | None = None, days: int = 28) -> Callable[[Session], Any]:
        return lambda s: cover(s, key, Asked(as_of, days, None), settings)

    past = (datetime.now(UTC) - timedelta(days=30)).date()
    yield "bare group-by by the driver", *_timed(bare)
    for name, question in (
        ("cover by lot", by("lot")),
        ("cover by lot, a month ago", by("lot", past)),
        ("cover by lot, three years of use", by("lot", days=DAYS)),
        ("cover by origin", by("origin")),
        ("cover by component", by("component")),
        ("cover by site", by("site")),
        ("forward by component", lambda s: forward(s, "component", 28, settings)),
        ("forward by lot", lambda s: forward(s, "lot", 28, settings)),
        ("what to order by component", lambda s: orders(s, "component", settings)),
        ("projection of an origin", lambda s: projection(s, "origin", "ET", 90, settings)),
        ("what if by lot", lambda s: what_if(s, WhatIfIn(by="lot", fails=["L-1"]), settings)),
        ("forecasts by lot, a page of 50",
         lambda s: forecasts(s, KeyPage(50, ""), ForecastAsked("lot", past, 4), settings)),
    ):  # fmt: skip
        yield name, *_timed(asked(question))


def main(arguments: list[str]) -> None:
    """Fill a book, and print a line for each question."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.cover", description=__doc__)
    parser.add_argument("--lots", type=int, default=5000)
    parser.add_argument("--postgresql", action="store_true")
    asked = parser.parse_args(arguments)
    say = sys.stdout.write
    with database(postgresql=asked.postgresql) as url:
        engine = open_engine(url)
        migrate(engine)
        filler = _Filler(asked.lots)
        filler.write(engine)
        flows = len(filler.rows["flow"])
        say(f"{engine.dialect.name}: {asked.lots} lots, {len(filler.sacks)} sacks, {flows} flows\n")
        say("| what | rows | seconds | of them at work | times the bare group-by | MiB |\n")
        say("| --- | --: | --: | --: | --: | --: |\n")
        bare = None
        for name, seconds, worked, rows in measure(
            engine, Settings(database_url=url, _env_file=None)
        ):
            bare = bare or seconds
            times, most = f"{seconds / bare:.1f}", f"{peak_mib(os.getpid()):.0f}"
            say(f"| {name} | {rows} | {seconds:.3f} | {worked:.3f} | {times} | {most} |\n")
            sys.stdout.flush()
        engine.dispose()


if __name__ == "__main__":
    main(sys.argv[1:])

"""The journal as a test reads it: its lines, and what was left of everything each evening."""

import json
from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import date
from typing import Any

from sqlalchemy import Engine, select
from sqlmodel import SQLModel, col

from app.ledger.tables import Entry
from app.shared.db import reading


def lines(engine: Engine) -> list[Any]:
    """Read every line of the journal in order, to the last hash."""
    with reading(engine) as session:
        entry = SQLModel.metadata.tables["entry"]
        return list(session.execute(select(*entry.c).order_by(col(Entry.id))))


def evenings(engine: Engine) -> Iterator[tuple[date, dict[str, int]]]:
    """Replay the journal and tell for each day what grams of which packs were left."""
    kinds: dict[int, tuple[str, str]] = {}
    left: Counter[int] = Counter()
    inflows: dict[int, list[tuple[int, int]]] = defaultdict(list)
    journal = lines(engine)
    for number, line in enumerate(journal):
        book = json.loads(line.facts)["book"]
        for unit, code, kind, grams in book.get("born", ()):
            kinds[unit] = (kind, code)
            left[unit] += grams
        for source, target, grams in book.get("flows", ()):
            left[source] -= grams
            inflows[target].append((source, grams))
        for unit, grams, _ in book.get("adjusted", ()):
            left[unit] += grams
        for unit in book.get("voided", ()):
            left[unit] = 0
            for source, grams in inflows[unit]:
                left[source] += grams
        day = line.recorded_at.date()
        if number + 1 == len(journal) or journal[number + 1].recorded_at.date() != day:
            packs = {
                kinds[unit][1]: grams
                for unit, grams in left.items()
                if grams and kinds[unit][0] == "pack"
            }
            yield day, packs

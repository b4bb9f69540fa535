"""The arithmetic of the book: the seal of an entry, and a book recomputed from its entries."""

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

FIRST_SHA256 = "0" * 64
"""What the first entry names as the line before it."""


@dataclass(frozen=True)
class Lines:
    """What one entry writes into the book."""

    born: Sequence[tuple[int, str, str, int]] = ()
    """Units: id, code, kind, grams made."""
    flows: Sequence[tuple[int, int, int]] = ()
    """Source, target, grams."""
    adjusted: Sequence[tuple[int, int, str]] = ()
    """Unit, grams, reason."""
    voided: Sequence[int] = ()
    """Units that never were: they leave the book and give back what flowed into them."""

    def as_facts(self) -> dict[str, object]:
        """Name the lines that are there, for the journal."""
        named = {
            "born": self.born,
            "flows": self.flows,
            "adjusted": self.adjusted,
            "voided": self.voided,
        }
        return {name: lines for name, lines in named.items() if lines}


def canonical(content: object) -> str:
    """Write JSON in the one form that is hashed: sorted names, no spaces."""
    return json.dumps(content, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def instant(moment: datetime) -> str:
    """Write a moment with microseconds and `Z`, the same whatever database it came from."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


SEALED = (
    "id", "kind", "happened_at", "recorded_at", "who", "facts", "idempotency_key", "fingerprint",
    "reverses_id", "previous_sha256",
)  # fmt: skip
"""The members of an entry that its hash covers: all but the hash itself."""


def sealed_line(members: Mapping[str, object]) -> bytes:
    """Write an entry as the bytes that its hash covers; no line break is ever among them."""
    plain = {
        name: instant(value) if isinstance(value, datetime) else value
        for name, value in members.items()
    }
    return canonical(plain).encode()


def seal(members: Mapping[str, object]) -> str:
    """Hash an entry together with the hash of the line before it (member `previous_sha256`)."""
    return hashlib.sha256(sealed_line(members)).hexdigest()


@dataclass
class Chain:
    """The journal read in order: every line must carry the hash of the one before and its own."""

    before: str = FIRST_SHA256
    expected_id: int = 1

    def follow(self, entry: Mapping[str, Any]) -> Iterator[str]:
        """Name what is amiss with the next line."""
        number = entry["id"]
        if number != self.expected_id:
            yield f"entry {self.expected_id} is missing: the next one there is {number}"
        if entry["previous_sha256"] != self.before:
            yield f"entry {number} does not carry the hash of the entry before it"
        if seal({name: entry[name] for name in SEALED}) != entry["sha256"]:
            yield f"entry {number} was changed: its hash does not fit"
        self.before, self.expected_id = entry["sha256"], number + 1


@dataclass
class Replay:
    """A book rebuilt from its entries alone, in their order."""

    made: dict[int, tuple[str, str, int, int]] = field(default_factory=dict)
    """Unit id to code, kind, grams made, entry that bore it."""
    left: dict[int, int] = field(default_factory=lambda: defaultdict(int))
    flows: dict[tuple[int, int], int] = field(default_factory=dict)
    inflows: dict[int, list[tuple[int, int]]] = field(default_factory=lambda: defaultdict(list))
    adjusted: Counter[tuple[int, int, int, str]] = field(default_factory=Counter)
    """Unit, entry, grams and reason of each adjustment; two may be alike."""
    voided: dict[int, int] = field(default_factory=dict)
    """Unit id to the entry that voided it."""

    def add(self, entry_id: int, lines: Lines) -> None:
        """Apply one entry."""
        for unit, code, kind, grams in lines.born:
            self.made[unit] = (code, kind, grams, entry_id)
            self.left[unit] += grams
        for source, target, grams in lines.flows:
            self.flows[source, target] = grams
            self.inflows[target].append((source, grams))
            self.left[source] -= grams
        for unit, grams, reason in lines.adjusted:
            self.adjusted[unit, entry_id, grams, reason] += 1
            self.left[unit] += grams
        for unit in lines.voided:
            self.voided[unit] = entry_id
            for source, grams in self.inflows[unit]:
                self.left[source] += grams
        # Last, since a lot and its sacks are voided together and give back to each other.
        for unit in lines.voided:
            self.left[unit] = 0


def lines_from_facts(book: Mapping[str, Sequence[Sequence[int | str]]]) -> Lines:
    """Read back what `Lines.as_facts` wrote."""
    return Lines(
        born=[(int(i), str(c), str(k), int(g)) for i, c, k, g in book.get("born", ())],
        flows=[(int(s), int(t), int(g)) for s, t, g in book.get("flows", ())],
        adjusted=[(int(u), int(g), str(r)) for u, g, r in book.get("adjusted", ())],
        voided=[int(unit) for unit in book.get("voided", ())],  # type: ignore[call-overload]
    )

"""Coffee that flows from box to box: units gathered so that a picture of them can be read.

Amounts come in as whole parts of a gram (`SCALE` to one) and go out as whole grams, such that what
comes into a box goes out of it to the gram. Each figure is the exact one rounded up or down, so it
can be a gram off the same figure rounded by itself.
"""

from collections import Counter, defaultdict, deque
from collections.abc import Collection, Iterable, Mapping, Sequence
from enum import StrEnum
from typing import Final, NamedTuple

from app.tracing.rules import HAIR
from app.tracing.spread import SCALE, nearest

MOST_BOXES: Final = 8
"""In one column, before units of a kind share boxes: more than that nobody reads."""
MOST_CODES: Final = 20
_MOST_BESIDE: Final = 3
"""Columns for units of one kind that were made of one another, beside the first."""
REST: Final = "\x00rest"
"""The name of a box for all that is too light for one of its own; no card has such a name."""
STAGES: Final = ("lot", "sack", "roast", "blend", "pack", "dispatch", "return")
"""The columns, from green to customers and back."""


class Side(StrEnum):
    """What a box is."""

    CAME_IN = "came_in"
    """Where coffee comes into the picture."""
    UNITS = "units"
    END = "end"
    """Where coffee is left, was lost or went."""


class Box(NamedTuple):
    """What coffee flows out of and into."""

    side: Side
    stage: str
    """The kind of its units, or of what coffee comes into; of an end nothing."""
    name: str
    """What its units have in common: a code, a lot, a product, a customer. Of others the term."""


def came_in(term: str, stage: str) -> Box:
    """Name where coffee comes into a stage from."""
    return Box(Side.CAME_IN, stage, term)


def end(term: str) -> Box:
    """Name an end."""
    return Box(Side.END, "", term)


class Movement(NamedTuple):
    """Coffee that went out of a unit or a box into another."""

    source: int | Box
    target: int | Box
    amount: int
    suspect: int


class Node(NamedTuple):
    """A box of the picture."""

    box: Box
    column: int
    units: int
    codes: Sequence[str]
    """The first of them."""
    start: bool
    grams: int
    suspect_g: int


class Link(NamedTuple):
    """What flows from one box to another."""

    source: Box
    target: Box
    grams: int
    suspect_g: int


class Flow(NamedTuple):
    """The whole picture."""

    nodes: Sequence[Node]
    links: Sequence[Link]
    suspects: bool = True
    """Whether a part of it is suspect, or asked for."""


class Gathered(NamedTuple):
    """Which units share a box."""

    boxes: Mapping[int, Box]
    codes: Mapping[int, str]
    start: Collection[int]


Ends = tuple[Box, Box]
"""The box that coffee flows out of, and the one it flows into."""


def flow_of(movements: Iterable[Movement], gathered: Gathered, *, suspects: bool = True) -> Flow:
    """Add movements up between boxes; what stays within a box is no flow."""
    amounts: Counter[Ends] = Counter()
    suspect: Counter[Ends] = Counter()
    for source, target, amount, part in movements:
        ends = _box(source, gathered), _box(target, gathered)
        if amount and ends[0] != ends[1]:
            amounts[ends] += amount
            suspect[ends] += part
    through = {box for ends in amounts for box in ends if box.side is Side.UNITS}
    grams = closed(amounts, through)
    if not suspects:
        return _flow(grams, {}, gathered)._replace(suspects=False)
    # In a box where a trace starts coffee turns suspect, so more of it goes out than came in.
    turns = {gathered.boxes[unit] for unit in gathered.start if unit in gathered.boxes}
    return _flow(grams, closed(suspect, through - turns), gathered)


def _box(place: int | Box, gathered: Gathered) -> Box:
    return place if isinstance(place, Box) else gathered.boxes[place]


def closed(amounts: Mapping[Ends, int], through: Collection[Box]) -> dict[Ends, int]:
    """Round every amount up or down so that the boxes in `through` give what they take in.

    Where the exact amounts close, such a rounding exists: a flow through a net with whole bounds
    can be had in whole numbers. It starts from the nearest ones and mends them gram by gram.
    """
    net = _Net(amounts)
    for box in sorted(through):
        while (over := net.surplus[box]) and net.mend(box, through, up=over > 0):
            pass
    return net.grams


class _Net:
    """Amounts of which those that are no whole grams may be rounded up or down."""

    def __init__(self, amounts: Mapping[Ends, int]) -> None:
        self.grams = {ends: nearest(amount, SCALE) for ends, amount in amounts.items()}
        self.surplus: Counter[Box] = Counter()
        """What came into a box and did not go out."""
        self._low: dict[Ends, int] = {}
        self._beside: dict[Box, list[Ends]] = defaultdict(list)
        for ends, amount in amounts.items():
            grams = self.grams[ends]
            self.surplus[ends[0]] -= grams
            self.surplus[ends[1]] += grams
            if abs(amount - grams * SCALE) > HAIR:
                self._low[ends] = amount // SCALE
                for box in ends:
                    self._beside[box].append(ends)

    def mend(self, box: Box, through: Collection[Box], *, up: bool) -> bool:
        """Hand on a gram that a box has too much, or too little, to the next that can do with it.

        A box that is not in `through` takes any.
        """
        came: dict[Box, Ends] = {}
        ahead = deque([box])
        while ahead:
            here = ahead.popleft()
            welcome = here not in through or (
                self.surplus[here] < 0 if up else self.surplus[here] > 0
            )
            if welcome:
                self._hand_on(box, here, came, up=up)
                return True
            for ends in self._beside[here]:
                there = _other(ends, here)
                high = self.grams[ends] > self._low[ends]
                if there != box and there not in came and high != ((ends[0] == here) == up):
                    came[there] = ends
                    ahead.append(there)
        return False

    def _hand_on(self, first: Box, last: Box, came: Mapping[Box, Ends], *, up: bool) -> None:
        gram = 1 if up else -1
        self.surplus[first] -= gram
        self.surplus[last] += gram
        here = last
        while here != first:
            ends = came[here]
            self.grams[ends] += gram if ends[1] == here else -gram
            here = _other(ends, here)


def _other(ends: Ends, box: Box) -> Box:
    return ends[1] if ends[0] == box else ends[0]


def _flow(grams: Mapping[Ends, int], suspects: Mapping[Ends, int], gathered: Gathered) -> Flow:
    links = [
        Link(*ends, grams[ends], suspects.get(ends, 0))
        for ends in sorted(grams)
        if grams[ends] or suspects.get(ends)
    ]
    sums: dict[Box, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for source, target, whole, suspect in links:
        for box, place in ((source, 0), (target, 2)):
            sums[box][place] += whole
            sums[box][place + 1] += suspect
    inside: dict[Box, list[int]] = defaultdict(list)
    for unit, box in gathered.boxes.items():
        inside[box].append(unit)
    columns = _columns(links)
    nodes = [
        Node(
            box, columns[box], len(inside[box]),
            [gathered.codes[unit] for unit in inside[box][:MOST_CODES] if unit in gathered.codes],
            any(unit in gathered.start for unit in inside[box]),
            max(out, into), max(suspect_out, suspect_into),
        )
        for box, (out, suspect_out, into, suspect_into) in sums.items()
    ]  # fmt: skip
    return Flow(sorted(nodes, key=lambda node: (node.column, *node.box)), links)


def _columns(links: Sequence[Link]) -> Mapping[Box, int]:
    """Place units by their stage, what comes in before it, and an end after all it comes from."""
    wide: dict[Box, tuple[int, int]] = {}
    for box in {box for link in links for box in link[:2] if box.side is Side.UNITS}:
        wide[box] = (STAGES.index(box.stage) if box.stage in STAGES else 0, 0)
    # Blends of blends stand beside one another, as long as few columns do.
    for _ in range(_MOST_BESIDE):
        for source, target, *_ in links:
            if source in wide and target in wide and source.stage == target.stage:
                stage, beside = wide[target]
                deeper = min(wide[source][1] + 1, _MOST_BESIDE)
                wide[target] = stage, max(beside, deeper)
    used = {place: column for column, place in enumerate(sorted(set(wide.values())), 1)}
    columns = {box: used[place] for box, place in wide.items()}
    for source, target, *_ in links:
        if source.side is Side.CAME_IN:
            columns[source] = min(columns.get(source, columns[target]), columns[target] - 1)
        if target.side is Side.END:
            columns[target] = max(columns.get(target, 0), columns[source] + 1)
    first = min(columns.values(), default=0)
    return {box: column - first for box, column in columns.items()}


def gathered(
    units: Mapping[int, tuple[str, str]],
    shared: Mapping[int, str],
    weights: Mapping[int, int],
    start: Collection[int],
    most: int = MOST_BOXES,
) -> Gathered:
    """Give every unit (its code and kind) a box of its own, or one that it shares with others.

    Few units of a kind have their own. Of many those share one that have `shared` in common, and
    where that makes too many boxes the lightest share the last one. Dispatches always stand
    under what they share: their customer.
    """
    boxes: dict[int, Box] = {}
    for kind in STAGES:
        some = [unit for unit, (_, each) in units.items() if each == kind]
        alone = len(some) <= most and kind != "dispatch"
        names = {unit: units[unit][0] if alone else shared.get(unit, "") for unit in some}
        weight: Counter[str] = Counter()
        for unit, name in names.items():
            weight[name] += weights[unit]
        heaviest = sorted(weight, key=lambda name: (-weight[name], name))
        kept = set(heaviest if len(heaviest) <= most else heaviest[: most - 1])
        for unit, name in names.items():
            boxes[unit] = Box(Side.UNITS, kind, name if name in kept else REST)
    codes = {unit: code for unit, (code, _) in units.items()}
    return Gathered(boxes, codes, start)

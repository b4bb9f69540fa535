"""Traces as coffee that flows from box to box: exact, and readable however much there is."""

import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Callable
from fractions import Fraction
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Engine

from app.labels.fonts import FontRuler
from app.labels.pieces import MM, Box
from app.tracing.flow.layout import TEXT, lay_out
from app.tracing.flow.rules import (
    MOST_BOXES,
    Gathered,
    Movement,
    Node,
    Side,
    came_in,
    closed,
    end,
    flow_of,
    gathered,
)
from app.tracing.flow.rules import Box as Place
from app.tracing.flow.wording import label
from app.tracing.spread import SCALE
from tests.api import Api, kg
from tests.makers import blend, dispatch, furnish, named_of_old, pack, receive, roast, sack_codes
from tests.tracing.flowing import assert_closes, assert_ends_as_balanced

SVG = "{http://www.w3.org/2000/svg}"


def places(count: int) -> list[Place]:
    return [Place(Side.UNITS, "blend", f"B-{i}") for i in range(count)]


@st.composite
def nets(draw: st.DrawFn) -> dict[tuple[Place, Place], int]:
    """Coffee that comes into some of a chain of boxes and is shared out among all after it."""
    inner = places(draw(st.integers(1, 6)))
    amounts: Counter[tuple[Place, Place]] = Counter()
    there: dict[Place, Fraction] = dict.fromkeys(inner, Fraction(0))
    for i, box in enumerate(inner):
        came_g = draw(st.integers(0 if i else 1, 60_000))
        if came_g:
            amounts[came_in("received", "lot"), box] += came_g * SCALE
            there[box] += came_g
        parts = [*inner[i + 1 :], end("in_process"), end("sample")]
        weights = draw(st.lists(st.integers(0, 9), min_size=len(parts), max_size=len(parts)))
        weights[-1] += 1
        for part, weight in zip(parts, weights, strict=True):
            given_g = there[box] * weight / sum(weights)
            if given_g:
                amounts[box, part] += int(given_g * SCALE)
                there[part] = there.get(part, Fraction(0)) + given_g
    return dict(amounts)


@given(nets())
def test_every_box_gives_what_it_takes_in_and_no_figure_is_a_gram_off(
    amounts: dict[tuple[Place, Place], int],
) -> None:
    through = {box for ends in amounts for box in ends if box.side is Side.UNITS}

    grams = closed(amounts, through)

    for box in through:
        into = sum(g for ends, g in grams.items() if ends[1] == box)
        assert into == sum(g for ends, g in grams.items() if ends[0] == box)
    for ends, amount in amounts.items():
        assert abs(grams[ends] * SCALE - amount) < SCALE


def test_what_stays_within_a_box_is_no_flow() -> None:
    one, other = places(2)
    shared = Gathered({1: one, 2: one, 3: other}, {1: "A", 2: "B", 3: "C"}, [])
    moves = [Movement(1, 2, 5 * SCALE, 0), Movement(2, 3, 7 * SCALE, 0)]

    flow = flow_of(moves, shared)

    assert [(link.source, link.target, link.grams) for link in flow.links] == [(one, other, 7)]
    assert [node.codes for node in flow.nodes] == [["A", "B"], ["C"]]


def test_thousands_of_units_share_few_boxes_and_none_is_left_out() -> None:
    units = {number: (f"R-{number}", "roast") for number in range(3000)}
    styles = {number: f"Style {number % 40:02}" for number in units}

    boxes = gathered(units, styles, dict.fromkeys(units, 1), []).boxes

    assert len(boxes) == len(units)
    held = Counter(boxes.values())
    assert len(held) == MOST_BOXES
    # Each of the 40 styles has 75 roasts: 7 have a box of their own and 33 share the last one.
    assert sorted(held.values()) == [75] * (MOST_BOXES - 1) + [33 * 75]


def furnished(api: Api) -> None:
    """Two sacks into a roast, half of that into a blend and bags; a sample, and 4 bags back."""
    furnish(api)
    one, two = sack_codes(receive(api, 60, 60, lot="LOT-A"))
    (other,) = sack_codes(receive(api, 60, lot="LOT-B"))
    roast(api, {one: 20, two: 10}, kg("25.5"), code="RB-1")
    roast(api, {other: 10}, kg("8.5"), code="RB-2")
    blend(api, {"RB-1": 20, "RB-2": 5}, code="BL-1")
    pack(api, {"BL-1": kg("24.85")}, bags=99, code="PK-1")
    dispatch(api, {"PK-1": 12}, code="DS-1")
    back = {"dispatch": "DS-1", "lines": [{"pack": "PK-1", "bags": 4}], "reason": "asked back"}
    api.post("/returns", back | {"code": "RT-1"})
    api.post("/adjustments", {"unit": one, "kg": kg("-0.35"), "reason": "sample"})


def links(flow: Any) -> dict[tuple[str, str], Any]:
    names = {node["id"]: node["term"] or node["label"] for node in flow["nodes"]}
    return {(names[link["source"]], names[link["target"]]): link for link in flow["links"]}


def test_a_lot_is_followed_to_its_customers_and_to_every_end(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    furnished(api)

    ahead = api.get("/trace/LOT-A/flow")
    trace = api.get("/trace/LOT-A")

    assert_closes(ahead)
    assert_ends_as_balanced(ahead, trace["balance"])
    found = links(ahead)
    assert found["received", "LOT-A"]["kg"] == found["received", "LOT-A"]["suspect_kg"] == 120
    assert found["RB-1", "roasting_loss"]["kg"] == kg("4.5")
    assert found["other_coffee", "BL-1"] | {"source": "", "target": ""} == {
        "source": "", "target": "", "kg": 5, "suspect_kg": 0,
    }  # fmt: skip
    # 20 kg of the 25 kg blended are of the lot.
    assert found["PK-1", "Café Nord"]["kg"] == 3
    assert found["PK-1", "Café Nord"]["suspect_kg"] == kg("2.4")
    (customer,) = trace["customers"]
    assert found["PK-1", "Café Nord"]["suspect_kg"] == customer["suspect_kg"]
    assert found["Café Nord", "RT-1"]["kg"] == 1
    assert found["Café Nord", "dispatched"]["kg"] == 2
    assert [node["column"] for node in ahead["nodes"] if node["label"] == "LOT-A"] == [1]
    assert "At customers" not in ahead["describes"]
    assert "at customers 2.0 kg" in ahead["describes"]
    then = api.get(f"/trace/LOT-A/flow?as_of={trace['units'][0]['recorded_at']}")
    assert {node["stage"] for node in then["nodes"] if node["side"] == "units"} == {"lot", "sack"}
    assert_closes(then)
    book_is_sound()


def test_a_pack_is_followed_back_with_no_more_than_went_into_it(api: Api) -> None:
    furnished(api)

    behind = api.get("/trace/PK-1/flow?direction=backward")

    assert_closes(behind)
    assert_ends_as_balanced(behind, api.get("/trace/PK-1?direction=backward")["balance"])
    found = links(behind)
    assert found["PK-1", "asked"]["kg"] == kg("24.75")
    assert found["PK-1", "packing_loss"]["kg"] == kg("0.1")
    assert found["RB-1", "BL-1"]["kg"] == kg("19.88")  # 20 of 25, of 24.85
    assert {link["suspect_kg"] for link in behind["links"]} == {None}


def test_the_picture_can_be_read_aloud_and_nothing_stands_over_anything(
    api: Api, engine: Engine
) -> None:
    furnish(api)
    api.post("/customers", {"name": "House"})
    sacks = sack_codes(receive(api, *[20] * 12, lot="LOT-A"))
    for number, sack in enumerate(sacks):
        roast(api, {sack: 15}, 13, code=f"RB-{number}")
    pack(api, {f"RB-{number}": 1 for number in range(12)}, bags=48, code="PK-1")
    dispatch(api, {"PK-1": 1}, customer="House")
    named_of_old(engine, "customer", "House", 'House <script>&"$x$\x01')

    answer = api.send("GET", "/trace/LOT-A/flow.svg")

    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert "sandbox" in answer.headers["content-security-policy"]
    root = ET.fromstring(answer.content)  # noqa: S314 - our own
    assert root.findtext(f"{SVG}title") == "Where LOT-A went"
    assert "received 240.0 kg" in str(root.findtext(f"{SVG}desc"))
    assert "competent authority" in str(root.findtext(f"{SVG}desc"))
    said = {"".join(each.itertext()) for each in root.iter(f"{SVG}text")}
    assert said >= {"12 sacks, LOT-A", "12 roasts", "PK-1", "suspect, pro rata", "144.0 kg"}
    assert "script" not in {each.tag.removeprefix(SVG) for each in root.iter()}
    assert answer.content == api.send("GET", "/trace/LOT-A/flow.svg").content


@given(st.lists(st.integers(1, 10**7), min_size=1, max_size=12), st.integers(100, 400))
def test_no_words_of_a_picture_overlap_or_leave_it(weights: list[int], width: int) -> None:
    boxes = {
        i: Place(Side.UNITS, "pack", f"PACK-WITH-A-LONG-CODE-{i}") for i in range(len(weights))
    }
    moves = [
        Movement(came_in("other_coffee", "pack"), i, g * SCALE, 0) for i, g in enumerate(weights)
    ]
    moves += [Movement(i, end("in_process"), g * SCALE, g * SCALE) for i, g in enumerate(weights)]
    codes = {i: box.name for i, box in boxes.items()}
    ruler = FontRuler()

    picture = lay_out(flow_of(moves, Gathered(boxes, codes, [0])), "T", width * MM, ruler)

    words = [
        Box(w.x, w.y - w.em, ruler.width(w.text, w.lettering, w.em), w.em)
        for w in picture.words
        if w.em == TEXT
    ]
    whole = Box(0, 0, picture.width, picture.height)
    for number, word in enumerate(words):
        assert whole.holds(word)
        assert not any(word.overlaps(other) for other in words[:number])
    assert all(band.thick > 0 for band in picture.bands)


def test_what_a_count_found_more_is_not_called_less() -> None:
    boxes = (Place(side, "", "count") for side in (Side.CAME_IN, Side.END))
    nodes = [Node(box, 0, 1, (), start=False, grams=100, suspect_g=0) for box in boxes]

    assert [*map(label, nodes)] == [
        "Counted more",
        "Counted less",
    ]

"""Files of plots by the rules of Regulation (EU) 2023/1115 and its information system.

The rules come from the regulation (Art. 2(28), 9(1)(d)) and from the file description of its
information system of August 2026, the latter as quoted in a research note of September 2026.
"""

import json
from decimal import Decimal
from math import cos, pi, sin
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.standards.geolocation import (
    LARGEST_BYTES,
    FlawedPlotsError,
    PlotList,
    hectares,
    read_plots,
)
from app.standards.handing_over import hand_over

POINT: dict[str, Any] = {"type": "Point", "coordinates": [38.4512341, 6.1234567]}
RING = [[38.0, 6.0], [38.0, 6.001], [38.001, 6.001], [38.001, 6.0], [38.0, 6.0]]
"""A field of a bit more than a hectare, clockwise."""
OUTLINE: dict[str, Any] = {"type": "Polygon", "coordinates": [RING]}


def feature(geometry: object, **properties: object) -> dict[str, Any]:
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def collection(*features: object) -> bytes:
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def accepted(*features: object) -> PlotList:
    return read_plots(collection(*features))


def refused(content: bytes) -> list[tuple[str, int | None, str]]:
    with pytest.raises(FlawedPlotsError) as error:
        read_plots(content)
    return [(flaw.pointer, flaw.feature, flaw.detail) for flaw in error.value.flaws.named]


@pytest.mark.parametrize("area", [3.2, 4, 4.0, 0.0001])
def test_a_point_says_an_area_of_up_to_four_hectares(area: float) -> None:
    # File description: Area of a point is 0.0001 to 4 ha. Regulation, Art. 2(28): a point will do
    # for plots of not more than four hectares.
    [plot] = accepted(feature(POINT, Area=area)).plots

    assert not plot.outlined
    assert hectares(plot.area_m2) == Decimal(str(area))


@pytest.mark.parametrize(
    ("area", "said"),
    [
        (4.01, "over 4 ha the outline of the plot is needed"),
        (4.000001, "over 4 ha the outline of the plot is needed"),
        (0.00009, "less than a square metre"),
        (0, "less than a square metre"),
        (-1, "less than a square metre"),
        ("3", "a text would be read as 0"),
        (True, "a text would be read as 0"),
        (None, "a point says its area"),
    ],
)
def test_a_point_of_another_area_is_refused(area: object, said: str) -> None:
    # File description: 4.01 and 0.00009 are refused, and "3" as a text, which is read as 0.
    [(pointer, number, detail)] = refused(collection(feature(POINT, Area=area)))

    assert pointer == "#/features/0/properties/Area"
    assert number == 1
    assert said in detail


def test_an_outline_needs_no_area_and_may_be_of_any_size() -> None:
    large = [[38.0, 6.0], [38.1, 6.0], [38.1, 6.1], [38.0, 6.0]]

    small, other = accepted(
        feature(OUTLINE), feature({"type": "Polygon", "coordinates": [large]}, Area=6100)
    ).plots

    assert small.outlined
    assert Decimal("1.2") < hectares(small.area_m2) < Decimal("1.3")
    assert hectares(other.area_m2) > 6000
    assert other.feature == 2


def test_longitude_stands_first() -> None:
    # File description: [longitude, latitude]; [40.0, 95.0] is refused for its latitude.
    swapped = refused(collection(feature({"type": "Point", "coordinates": [40.0, 95.0]}, Area=1)))

    [(pointer, _, detail)] = swapped
    assert pointer == "#/features/0/geometry/coordinates/1"
    assert detail == "latitude 95.0 is not between -90 and 90: longitude stands first"
    corners = feature({"type": "MultiPoint", "coordinates": [[180, 90], [-180, -90]]}, Area=1)
    assert len(accepted(corners).plots) == 2


@pytest.mark.parametrize(
    ("ring", "said"),
    [
        ([[38, 6], [38.001, 6], [38, 6]], "a ring has 4 positions or more"),
        ([[38, 6], [38.001, 6], [38.001, 6.001], [38, 6.001]], "its last position equals"),
        ([[38, 6], [38.001, 6.001], [38.002, 6.002], [38, 6]], "lie on one line"),
        (
            [[38, 6], [38.002, 6.002], [38.002, 6], [38, 6.002], [38, 6]],
            "crosses or touches itself",
        ),
        ([[38, 6], [38.000001, 6], [38.000001, 6.000001], [38, 6]], "smaller than a square metre"),
    ],
)
def test_an_outline_is_closed_and_simple(ring: object, said: str) -> None:
    # File description: three positions, all on one line, and a figure of eight are refused.
    [(pointer, number, detail)] = refused(
        collection(feature(OUTLINE), feature({"type": "Polygon", "coordinates": [ring]}))
    )

    assert pointer == "#/features/1/geometry/coordinates/0"
    assert number == 2
    assert said in detail


def comb(corners: int) -> list[list[float]]:
    """Draw a comb of long slanted teeth: each lies in reach of all others, and none crosses one."""
    teeth = [
        [x, y]
        for tooth in range((corners - 2) // 2)
        for x, y in ((tooth * 8e-6, 0.0), (10 + tooth * 8e-6, 10.0))
    ]
    return [[0, -1], *teeth, [30, -1], [0, -1]]


def test_an_outline_has_no_more_corners_than_anybody_walks_round() -> None:
    assert len(accepted(feature({"type": "Polygon", "coordinates": [comb(5000)]})).plots) == 1
    for corners in (5002, 80_000):
        over = collection(
            feature(OUTLINE), feature({"type": "Polygon", "coordinates": [comb(corners)]})
        )

        said = f"it has {corners} corners; 5000 are the most of an outline"
        assert refused(over) == [("#/features/1/geometry/coordinates/0", 2, said)]


def test_finely_drawn_outlines_of_a_file_have_so_many_corners_together() -> None:
    angles = [2 * pi * corner / 1000 for corner in range(1000)]
    ring = [[38 + cos(angle), 6 + sin(angle)] for angle in angles]
    fine = feature({"type": "Polygon", "coordinates": [[*ring, ring[0]]]})
    many = [fine] * 100

    assert len(accepted(*many, feature(OUTLINE)).plots) == 101
    said = (
        "with it the outlines of more than 500 corners have 101000 together; 100000 are the most "
        "of a file: give it as two files"
    )
    assert refused(collection(*many, feature(OUTLINE), fine)) == [
        ("#/features/101/geometry/coordinates/0", 102, said)
    ]


def test_a_hole_is_refused_and_two_halves_are_asked_for() -> None:
    # File description: no holes; a plot round a lake is given as two shapes.
    hole = [[38.0002, 6.0002], [38.0008, 6.0002], [38.0008, 6.0008], [38.0002, 6.0002]]

    [(pointer, _, detail)] = refused(
        collection(feature({"type": "Polygon", "coordinates": [RING, hole]}))
    )

    assert pointer == "#/features/0/geometry/coordinates/1"
    assert "two shapes" in detail


@pytest.mark.parametrize("kind", ["LineString", "MultiLineString"])
def test_a_line_is_no_plot(kind: str) -> None:
    # File description: LineString and MultiLineString are refused.
    line: object = [[38, 6], [38.1, 6]]

    [(pointer, _, detail)] = refused(
        collection(feature({"type": kind, "coordinates": [line] if "M" in kind else line}))
    )

    assert pointer == "#/features/0/geometry"
    assert kind in detail


def test_points_outlines_and_collections_of_them_are_plots() -> None:
    # File description: Point, MultiPoint, Polygon, MultiPolygon, GeometryCollection are taken.
    several = {"type": "MultiPoint", "coordinates": [[38, 6], [38.1, 6], [38.2, 6]]}
    outlines = {"type": "MultiPolygon", "coordinates": [[RING], [RING]]}
    mixed = {"type": "GeometryCollection", "geometries": [POINT, OUTLINE]}

    found = accepted(
        feature(POINT, Area=0.5), feature(several, Area=0.25), feature(OUTLINE),
        feature(outlines), feature(mixed, Area=2),
    )  # fmt: skip

    assert [plot.outlined for plot in found.plots] == [False] * 4 + [True] * 3 + [False, True]
    assert [plot.feature for plot in found.plots] == [1, 2, 2, 2, 3, 4, 4, 5, 5]
    # Our reading: what a feature says of its area it says of each of its points.
    assert [str(hectares(plot.area_m2)) for plot in found.plots[:4]] == ["0.5000"] + ["0.2500"] * 3
    assert found.area_m2 == sum(plot.area_m2 for plot in found.plots)


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("productionplace", "ProductionPlace"),
        ("Producer Name", "ProducerName"),
        ("PRODUCER_COUNTRY", "ProducerCountry"),
        ("area", "Area"),
    ],
)
def test_names_of_properties_are_read_with_their_capitals(name: str, meant: str) -> None:
    # File description: names are case-sensitive; `productionplace` is a common mistake.
    [(pointer, _, detail)] = refused(collection(feature(OUTLINE, **{name: "ET"})))

    assert pointer == f"#/features/0/properties/{name}"
    assert meant in detail


def test_other_properties_are_nobody_s_business() -> None:
    found = accepted(
        feature(OUTLINE, ProducerName="Abera", area="1,2", Area=1.2, surveyed="2026", _n=None)
    )

    assert len(found.plots) == 1


@pytest.mark.parametrize(
    ("country", "sound"),
    [("ET", True), ("XI", True), (None, True), ("BRA", False), ("et", False), ("ZZ", False),
     ("", False), (231, False)],
)  # fmt: skip
def test_a_country_is_two_letters(country: object, sound: bool) -> None:
    # File description: two letters, BRA is refused; XI stands for Northern Ireland.
    content = collection(feature(OUTLINE, ProducerCountry=country))

    if sound:
        assert read_plots(content).countries == ({country} if country else set())
    else:
        [(pointer, _, _)] = refused(content)
        assert pointer == "#/features/0/properties/ProducerCountry"


def test_texts_are_texts() -> None:
    found = refused(collection(feature(OUTLINE, ProducerName=7, ProductionPlace=["Wolima"])))

    assert [pointer for pointer, _, _ in found] == [
        "#/features/0/properties/ProducerName",
        "#/features/0/properties/ProductionPlace",
    ]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (collection(), "there is no plot in it"),
        (collection(feature(None)), "a plot has a geometry"),
        (collection(feature({"type": "MultiPolygon", "coordinates": []})), "nothing in this"),
        (collection(feature({"type": "Polygon", "coordinates": []})), "nothing in this Polygon"),
        (collection(feature({"type": "MultiPolygon", "coordinates": [[]]})), "there is no ring"),
        (
            collection(feature({"type": "GeometryCollection", "geometries": []})),
            "a plot has a geometry with something in it",
        ),
    ],
)
def test_a_file_without_a_plot_is_refused(content: bytes, said: str) -> None:
    [(_, _, detail)] = refused(content)

    assert said in detail


def test_every_flaw_of_every_feature_is_named_at_once() -> None:
    found = refused(
        collection(
            feature(POINT, Area="3", ProducerCountry="BRA"),
            feature({"type": "LineString", "coordinates": [[38, 6], [39, 6]]}),
            feature(OUTLINE),
            feature({"type": "MultiPoint", "coordinates": [[38, 6], [200, 95]]}, Area=9),
        )
    )

    assert [(pointer, number) for pointer, number, _ in found] == [
        ("#/features/0/properties/ProducerCountry", 1),
        ("#/features/0/properties/Area", 1),
        ("#/features/1/geometry", 2),
        ("#/features/3/properties/Area", 4),
        ("#/features/3/geometry/coordinates/1/0", 4),
        ("#/features/3/geometry/coordinates/1/1", 4),
    ]


def test_a_file_of_25_mb_is_taken_and_one_byte_more_is_not() -> None:
    # File description: at most 25 MB. Our reading: 25,000,000 bytes, within either megabyte.
    whole = collection(feature(OUTLINE))
    filled = whole[:-1] + b" " * (LARGEST_BYTES - len(whole)) + whole[-1:]

    assert len(filled) == LARGEST_BYTES == 25_000_000
    assert read_plots(filled).plots
    [(pointer, number, detail)] = refused(filled + b" ")
    assert (pointer, number) == ("#", None)
    assert "25000001 bytes" in detail


def test_a_file_that_outgrows_the_limit_by_its_six_decimals_is_refused() -> None:
    points = feature({"type": "MultiPoint", "coordinates": [[1, 1]] * 100}, Area=1)
    content = collection(points)

    with pytest.raises(FlawedPlotsError, match="with six decimals it has more than 2000 bytes"):
        read_plots(content, largest_bytes=2000)
    assert len(content) < 2000
    assert len(read_plots(content, largest_bytes=3000).plots) == 100


def test_what_is_handed_over_has_six_decimals_and_runs_counterclockwise() -> None:
    # RFC 7946, 3.1.6: outer rings are counterclockwise, and readers accept either. File
    # description: fewer than six decimals are padded with zeros, more are cut or rounded.
    content = (
        b'{"type":"Feature","properties":{"ProducerName":"Abera T.","Area":1.25,"tel":"+251"},'
        b'"id":7,"geometry":{"type":"GeometryCollection","geometries":['
        b'{"type":"Point","coordinates":[38.4512345678,-6.5,1840]},'
        b'{"type":"Polygon","coordinates":'
        b"[[[5.8227397,0],[5.8227397,1],[5.8227397,1.0000001],[6.9,1],[6.9,0],[5.8227397,0]]]}]}}"
    )

    written = hand_over(content, "ET").decode()

    assert written == (
        '{"type":"FeatureCollection","features":[{"type":"Feature",'
        '"properties":{"ProducerName":"Abera T.","ProducerCountry":"ET","Area":1.25},'
        '"geometry":{"type":"GeometryCollection","geometries":['
        '{"type":"Point","coordinates":[38.451235,-6.500000]},'
        '{"type":"Polygon","coordinates":[[[5.822740,0.000000],[6.900000,0.000000],'
        "[6.900000,1.000000],[5.822740,1.000000],[5.822740,0.000000]]]}]}}]}"
    )


def test_what_is_handed_over_is_a_sound_file_of_the_same_plots() -> None:
    content = collection(
        feature(POINT, Area=0.5, ProducerCountry="KE"),
        feature({"type": "MultiPoint", "coordinates": [[38, 6], [-38.1, 6]]}, Area=0.25),
        feature({"type": "MultiPolygon", "coordinates": [[RING], [RING[::-1]]]}),
    )

    again = hand_over(content, "ET")

    assert read_plots(again).plots == read_plots(content).plots
    assert read_plots(again).countries == {"KE", "ET"}
    assert hand_over(again, "ET") == again


_NAMES = st.sampled_from(
    ["type", "features", "geometry", "geometries", "coordinates", "properties", "bbox", "crs", "id",
     "Area", "area", "ProducerCountry", "ProducerName"]
)  # fmt: skip
_WORDS = st.sampled_from(
    ["FeatureCollection", "Feature", "Point", "MultiPoint", "Polygon", "MultiPolygon",
     "GeometryCollection", "LineString", "ET", "\u00e9"]
)  # fmt: skip
_ANYTHING = st.recursive(
    st.none() | st.booleans() | _WORDS | st.integers(-200, 200) | st.floats(-200, 200),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(_NAMES, inner, max_size=5),
    max_leaves=30,
)
_POSITION = st.lists(st.floats(-200, 200) | st.integers(-1, 2), min_size=1, max_size=4)
_GEOMETRY = st.fixed_dictionaries({
    "type": _WORDS,
    "coordinates": _POSITION | st.lists(_POSITION, max_size=5)
    | st.lists(st.lists(_POSITION, max_size=5).map(lambda ring: ring + ring[:1]), max_size=2)
    | _ANYTHING,
})  # fmt: skip
_FEATURE = st.fixed_dictionaries({
    "type": st.just("Feature"),
    "properties": st.dictionaries(_NAMES, _ANYTHING, max_size=3) | st.just({"Area": 1}),
    "geometry": _GEOMETRY | _ANYTHING,
})  # fmt: skip


@given(st.lists(_FEATURE | _ANYTHING, max_size=3).map(lambda each: collection(*each)) | st.binary())
def test_whatever_comes_is_a_sound_file_or_is_refused_by_name(content: bytes) -> None:
    try:
        found = read_plots(content)
    except FlawedPlotsError:
        return

    again = read_plots(hand_over(content, "ET"))
    kinds = [[(plot.feature, plot.outlined) for plot in each.plots] for each in (found, again)]
    assert kinds[0] == kinds[1]

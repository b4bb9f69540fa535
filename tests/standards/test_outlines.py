"""Areas and outlines, held against field outlines that other people measured."""

import csv
import json
from decimal import Decimal
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.standards import geojson, outlines
from app.standards.geojson import Polygon

CENT = Decimal("0.01")
"""The published figures are rounded to this, in m²."""


class Field(NamedTuple):
    """A field outline and what its makers say of it."""

    number: int
    polygons: list[Polygon]
    expected: dict[str, str]

    @property
    def area_m2(self) -> Decimal:
        return sum((outlines.area_m2(polygon) for polygon in self.polygons), Decimal(0))


def fields_of(shared: Path, name: str) -> list[Field]:
    folder = shared / "data" / "open" / "polygons"
    content = (folder / f"{name}.geojson").read_bytes()
    with (folder / f"{name}_expected.csv").open(encoding="utf-8", newline="") as file:
        expected = {int(row["id"]): row for row in csv.DictReader(file)}
    ids = [int(feature["id"]) for feature in json.loads(content)["features"]]
    return [
        Field(
            number, [polygon for part in each.parts() for _, polygon in part.polygons()],
            expected[number],
        )
        for number, each in zip(ids, geojson.read(content).features, strict=True)
    ]  # fmt: skip


@pytest.fixture(scope="session")
def bahia(shared: Path) -> list[Field]:
    """One hundred fields in Bahia, Brazil; one of them grows coffee."""
    return fields_of(shared, "bahia_brazil")


@pytest.fixture(scope="session")
def india(shared: Path) -> list[Field]:
    """One hundred smallholders' fields in India, with the areas their makers published."""
    return fields_of(shared, "india_smallholders")


def test_two_hundred_fields_have_their_geodesic_areas(
    bahia: list[Field], india: list[Field]
) -> None:
    # Field outlines of two public data sets; areas on the WGS84 ellipsoid computed twice with
    # other machinery, published beside them to the hundredth of a square metre.
    far = {
        field.number: (field.area_m2, field.expected["area_m2_geodesic"])
        for field in [*bahia, *india]
        if abs(field.area_m2 - Decimal(field.expected["area_m2_geodesic"])) > CENT
    }

    assert len(bahia) == len(india) == 100
    assert not far


def test_areas_are_near_to_those_that_the_makers_published(india: list[Field]) -> None:
    # The makers of the Indian data set measured otherwise; the difference is at most 0.365 %.
    differences = sorted(
        abs(field.area_m2 / Decimal(field.expected["published_area_m2"]) - 1) for field in india
    )

    assert differences[-1] <= Decimal("0.00365")
    assert round(differences[len(differences) // 2], 3) == Decimal("0.002")


def test_the_fields_add_up(bahia: list[Field], india: list[Field]) -> None:
    # Totals published with the two data sets, in hectares.
    hectares = [
        sum((field.area_m2 for field in fields), Decimal(0)) / 10_000 for fields in (bahia, india)
    ]

    assert [round(total, 4) for total in hectares] == [Decimal("8996.6279"), Decimal("62.6083")]


def test_the_field_next_to_the_line_is_on_its_side_of_it(india: list[Field]) -> None:
    # Regulation (EU) 2023/1115, Art. 2(28): a polygon for plots of more than four hectares.
    over = [field.number for field in india if field.area_m2 > 40_000]

    assert over == [26]
    [field] = [field for field in india if field.number == 26]
    assert round(field.area_m2 / 10_000, 4) == Decimal("4.0487")


def test_a_large_area_is_that_of_the_ellipsoid_and_not_of_a_sphere(shared: Path) -> None:
    # Outline of Illinois with the area that an open library publishes for a sphere of
    # 6,378,137 m; on the ellipsoid it is 0.1 % smaller, as computed twice beside the data.
    folder = shared / "data" / "open" / "polygons"
    published = json.loads((folder / "EXPECTED.json").read_text(), parse_float=Decimal)["illinois"]
    [feature] = geojson.read((folder / "illinois.geojson").read_bytes()).features

    area = sum(
        (outlines.area_m2(polygon) for part in feature.parts() for _, polygon in part.polygons()),
        Decimal(0),
    )

    assert abs(area - published["wgs84_geodesic_m2"]) < Decimal("0.1")
    spherical = published["published_spherical_area_m2_r_6378137"]
    assert Decimal("0.001") < spherical / area - 1 < Decimal("0.0012")


def test_every_field_is_an_outline_and_runs_clockwise_as_it_was_given(
    bahia: list[Field], india: list[Field]
) -> None:
    # Said of both data sets beside them: none invalid, all 206 outer rings clockwise.
    rounded = [
        outlines.corners(polygon[0]) for field in [*bahia, *india] for polygon in field.polygons
    ]

    assert len(rounded) == 206
    assert not [fault for outline in rounded if (fault := outlines.fault(outline))]
    assert not any(outlines.counterclockwise(outline) for outline in rounded)


def test_rounding_to_six_decimals_changes_areas_as_little_as_published(
    bahia: list[Field], india: list[Field]
) -> None:
    # Largest change of area by rounding: 0.1014 % (Bahia) and 0.1318 % (India), published with
    # the areas after rounding.
    for fields, most in ((bahia, Decimal("0.00102")), (india, Decimal("0.00132"))):
        for field in fields:
            area = sum(map(rounded_area_m2, field.polygons), Decimal(0))
            rounded = Decimal(field.expected["area_m2_after_rounding_to_6_decimals"])
            assert abs(area - rounded) <= CENT
            assert abs(area / field.area_m2 - 1) <= most


def rounded_area_m2(polygon: Polygon) -> Decimal:
    return outlines.area_m2(
        [
            [[Decimal(outlines.degrees(x)), Decimal(outlines.degrees(y))] for x, y in corners]
            for corners in map(outlines.corners, polygon)
        ]
    )


def ring(*corners: tuple[str, str]) -> outlines.Corners:
    return outlines.corners([[Decimal(x), Decimal(y)] for x, y in corners])


def test_decimals_are_rounded_and_not_cut() -> None:
    # File description and regulation use both words; rounding first leaves nothing to cut.
    # Research note of September 2026 that quotes both; the figures are arithmetic.
    assert outlines.degrees(outlines.millionths(Decimal("5.8227397"))) == "5.822740"
    assert outlines.degrees(outlines.millionths(Decimal("5.8227394"))) == "5.822739"
    assert outlines.degrees(outlines.millionths(Decimal("-0.0000015"))) == "-0.000002"
    assert outlines.degrees(outlines.millionths(Decimal("-0.0000005"))) == "0.000000"
    assert outlines.degrees(outlines.millionths(Decimal(12))) == "12.000000"


@given(st.decimals(-180, 180, places=9))
def test_rounding_moves_a_corner_by_half_a_millionth_at_most(degrees: Decimal) -> None:
    written = outlines.degrees(outlines.millionths(degrees))

    assert abs(Decimal(written) - degrees) <= Decimal("0.0000005")
    assert len(written.partition(".")[2]) == 6


@pytest.mark.parametrize(
    ("outline", "said"),
    [
        # Three tenths and nine tenths are no multiples in binary: the line is found all the same.
        (ring(("0.1", "0.3"), ("0.2", "0.6"), ("0.3", "0.9"), ("0.1", "0.3")), "on one line"),
        (ring(("0", "0"), ("2", "2"), ("2", "0"), ("0", "2"), ("0", "0")), "itself at [1.000000"),
        (ring(("0", "0"), ("1", "0"), ("0", "0"), ("0", "0")), "fewer than three corners"),
        (ring(("0", "0"), ("0.0000001", "0"), ("0", "0.0000001"), ("0", "0")), "fewer than three"),
        (ring(("179", "0"), ("-179", "0"), ("-179", "1"), ("179", "0")), "line of 180 degrees"),
        (ring(("0", "0"), ("2", "0"), ("1", "0"), ("1", "1"), ("0", "0")), "itself at"),
    ],
)
def test_what_is_no_outline_says_why(outline: outlines.Corners, said: str) -> None:
    # Fewer than three corners, on one line, figure of eight: refused by the file description of
    # the regulation's information system, as quoted in a research note of September 2026.
    fault = outlines.fault(outline)

    assert fault is not None
    assert said in fault


def test_a_corner_that_stands_twice_in_a_row_is_one() -> None:
    outline = ring(("0", "0"), ("1", "0"), ("1", "0.0000001"), ("1", "1"), ("0", "0"))

    assert outline == [(0, 0), (1_000_000, 0), (1_000_000, 1_000_000), (0, 0)]
    assert outlines.fault(outline) is None
    assert outlines.counterclockwise(outline)
    assert not outlines.counterclockwise(outline[::-1])

"""GeoJSON as RFC 7946 has it, held against files that other people judged."""

import csv
from pathlib import Path

import pytest

from app.standards import geojson
from app.standards.geolocation import FlawedPlotsError, read_plots

LAXER = {
    "geojson_validator/invalid_structure/invalid_geometry_geometrycollection_single.geojson": (
        "RFC 7946, 3.1.8 only advises against a collection of one part"
    ),
}
"""Files their authors call invalid and we call sound, each with the reason."""

STRICTER = {
    "geojsonhint/bad/point-toomany.geojson": "nobody can say what a fourth number means (3.1.1)",
    "geojson_validator/problematic_geometries/problematic_outside_lat_lon_boundaries.geojson": (
        "its ring is not closed either (3.1.6)"
    ),
    "geojson_validator/problematic_structure/invalid_crs_defined.geojson": (
        "metres of a national grid would be read as degrees (section 4)"
    ),
}
"""Files their authors warn of and we refuse, each with the reason."""

NO_PLOTS = {
    "geojsonhint/bad/bad-polygon-interiorring-rhr.geojson": "no holes",
    "geojsonhint/good/good-feature.geojson": "a point says its area",
    "geojsonhint/good/good-featurecollection-bbox.geojson": "a point says its area",
    "geojsonhint/good/good-featurecollection-bbox3d.geojson": "a point says its area",
    "geojsonhint/good/good-featurecollection-extensions.geojson": "not a LineString",
    "geojsonhint/good/good-featurecollection.geojson": "not a LineString",
    "geojsonhint/good/good-geometrycollection.geojson": "not a LineString",
    "geojsonhint/good/good-multilinestring.geojson": "not a MultiLineString",
    "geojsonhint/good/good-point.geojson": "a point says its area",
    "geojsonhint/good/issue82.geojson": "is not between -180 and 180",
    "geojsonhint/good/multipolygon.geojson": "no holes",
    "geojsonhint/good/nullgeometry.geojson": "has a geometry",
    "geojsonhint/good/nullproperties.geojson": "a point says its area",
    "geojson_validator/invalid_structure/invalid_geometry_geometrycollection_single.geojson": (
        "a point says its area"
    ),
    "geojson_validator/problematic_geometries/problematic_holes.geojson": "no holes",
    "geojson_validator/problematic_geometries/problematic_self_intersection_small.geojson": (
        "crosses or touches itself at [13.379527, 52.508516]"
    ),
    "geojson_validator/valid/valid_feature.geojson": "a point says its area",
    "geojson_validator/valid/valid_feature_with_bbox.geojson": "not a LineString",
    "geojson_validator/valid/valid_feature_with_string_id.geojson": "a point says its area",
    "geojson_validator/valid/valid_featurecollection_multiple_feature_types.geojson": (
        "not a LineString"
    ),
    "geojson_validator/valid/valid_geometry.geojson": "a point says its area",
    "geojson_validator/valid/valid_geometry_multipoint.geojson": "a point says its area",
}
"""Sound GeoJSON that is no file of plots, each with the rule that says so."""


@pytest.fixture(scope="session")
def judged(shared: Path) -> dict[str, tuple[bytes, str]]:
    """Every file with its authors' verdict."""
    folder = shared / "data" / "open" / "geojson_fixtures"
    with (folder / "VERDICTS.csv").open(encoding="utf-8", newline="") as file:
        return {
            row["file"]: ((folder / row["file"]).read_bytes(), row["verdict"])
            for row in csv.DictReader(file)
        }


def test_other_people_s_files_get_their_authors_verdicts(
    judged: dict[str, tuple[bytes, str]],
) -> None:
    # Test files of two open validators of GeoJSON, each with its authors' verdict.
    refused = {name for name, (content, _) in judged.items() if geojson.read(content).flaws}

    called_invalid = {name for name, (_, verdict) in judged.items() if verdict == "invalid"}
    called_valid = {name for name, (_, verdict) in judged.items() if verdict == "valid"}
    assert len(judged) == 79
    assert (len(called_invalid), len(called_valid)) == (43, 23)
    assert called_invalid - refused == LAXER.keys()
    assert not refused & called_valid
    assert refused - called_invalid == STRICTER.keys()


def test_sound_files_that_are_no_plots_are_refused_by_name_of_the_rule(
    judged: dict[str, tuple[bytes, str]],
) -> None:
    refused = {}
    for name, (content, _) in judged.items():
        if geojson.read(content).flaws:
            continue
        try:
            assert read_plots(content).plots
        except FlawedPlotsError as error:
            refused[name] = [flaw.detail for flaw in error.flaws.named]

    assert refused.keys() == NO_PLOTS.keys()
    for name, rule in NO_PLOTS.items():
        assert any(rule in detail for detail in refused[name]), (name, refused[name])


def test_as_many_flaws_are_found_as_the_authors_found(
    judged: dict[str, tuple[bytes, str]],
) -> None:
    hint = "geojsonhint/bad"

    assert len(geojson.read(judged[f"{hint}/bad-polygonloop.geojson"][0]).flaws.named) == 361
    assert len(geojson.read(judged[f"{hint}/multiple_problems.geojson"][0]).flaws.named) == 5


def flaws(text: str) -> list[tuple[str, int | None, str]]:
    found = geojson.read(text.encode()).flaws.named
    return [(flaw.pointer, flaw.feature, flaw.detail) for flaw in found]


def test_each_flaw_names_its_feature_and_its_place() -> None:
    square = "[[0,0],[1,0],[1,1],[0,0]]"

    found = flaws(
        '{"type":"FeatureCollection","features":['
        f'{{"type":"Feature","properties":{{}},"geometry":{{"type":"Polygon","coordinates":[{square}]}}}},'
        '{"type":"Feature","properties":7,"geometry":{"type":"Point","coordinates":[1,"2"]}},'
        '{"type":"Feature","properties":{},"geometry":'
        '{"type":"Polygon","coordinates":[[[0,0],[1,0],[1,1],[0,1]]]}}]}'
    )

    assert [(pointer, feature) for pointer, feature, _ in found] == [
        ("#/features/1/properties", 2),
        ("#/features/1/geometry/coordinates", 2),
        ("#/features/2/geometry/coordinates/0", 3),
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no JSON: Expecting value at line 1, column 1"),
        ('{"type":', "no JSON"),
        ('{"type":"Point","type":"Point"}', "the name type stands twice"),
        ('{"type":"Point","coordinates":[NaN,1]}', "NaN is no JSON number"),
        ('{"type":"Point","coordinates":[1e999,1]}', "three-digit exponent"),
        ('{"type":"Point","coordinates":[1,' + "1" * 41 + "]}", "more than 40 characters"),
        ('{"type":"\\ud800"}', "half of a surrogate pair"),
        ('{"type":"Point","\\u0000":1}', "NUL character"),
        ("[" * 100_000, "nested too deeply"),
        ('{"type":"GeometryCollection","geometries":7}', "a list of geometries is wanted"),
        ('{"type":"LineString","coordinates":[[0,0]]}', "a line has 2 positions or more, not 1"),
        ('{"type":"Point","coordinates":[1,2],"bbox":[1,2,3,1]}', "south-west corner first"),
        (
            '{"type":"GeometryCollection","geometries":[{"type":"GeometryCollection","geometries":[]}]}',
            "a collection inside of a collection",
        ),
    ],
)
def test_what_is_no_geojson_is_refused_in_a_sentence(text: str, said: str) -> None:
    [(_, _, detail)] = flaws(text)

    assert said in detail


def test_bytes_that_are_no_text_are_named() -> None:
    # A file kept under a password is no text any more; file description of the regulation's
    # information system, as quoted in a research note of September 2026.
    [flaw] = geojson.read(b"PK\x03\x04\xff").flaws.named

    assert flaw.detail == "no UTF-8 text: byte 5 is none"


@pytest.mark.parametrize(
    ("name", "sound"),
    [
        ("urn:ogc:def:crs:OGC:1.3:CRS84", True),
        ("urn:ogc:def:crs:OGC::CRS84", True),
        ("urn:ogc:def:crs:EPSG::4326", True),
        ("EPSG:4326", True),
        ("EPSG:32632", False),
        ("EPSG:43266", False),
    ],
)
def test_only_the_one_reference_system_may_be_named(name: str, sound: bool) -> None:
    point = '{"type":"Point","coordinates":[1,2],"crs":{"type":"name","properties":{"name":"%s"}}}'

    assert (not flaws(point % name)) is sound


def test_a_byte_order_mark_is_passed_over() -> None:
    assert not geojson.read('\ufeff{"type":"Point","coordinates":[1,2]}'.encode()).flaws

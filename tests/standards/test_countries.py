"""Country codes: in force, withdrawn, never there; and the countries of real lots."""

import csv
import json
from collections import Counter
from pathlib import Path

import pytest

from app.standards.countries import country_name, is_country, why_no_country
from tests.cli.graded_lots import _country


@pytest.mark.parametrize(
    ("code", "name"),
    [
        # ISO 3166-1; a common name beside the standard's is what people call the country.
        ("ET", "Ethiopia"),
        ("TZ", "Tanzania"),
        ("TW", "Taiwan"),
        ("LA", "Laos"),
        ("PR", "Puerto Rico"),
        ("TL", "Timor-Leste"),
    ],
)
def test_a_code_in_force_is_a_country_with_a_name(code: str, name: str) -> None:
    assert is_country(code)
    assert country_name(code) == name


@pytest.mark.parametrize(
    ("code", "said"),
    [
        # ISO 3166-3: Zaire 1997, East Timor as TP 2002, the Netherlands Antilles 2010.
        ("ZR", "it was withdrawn (Zaire, Republic of until 1997-07-14)"),
        ("TP", "it was withdrawn (East Timor until 2002-05-20)"),
        ("AN", "it was withdrawn (Netherlands Antilles until 2010-12-15)"),
        ("CS", "Serbia and Montenegro until 2006-09-26"),
    ],
)
def test_a_withdrawn_code_is_told_apart(code: str, said: str) -> None:
    assert not is_country(code)
    assert said in why_no_country(code)


@pytest.mark.parametrize("code", ["XX", "ETH", "et", "E", "", "231", "Ethiopia", "ÉT", "\u212aE"])
def test_what_never_was_a_code_is_said_to_be_none(code: str) -> None:
    assert not is_country(code)
    assert "withdrawn" not in why_no_country(code)


def test_the_countries_of_real_lots_are_those_their_keepers_counted(shared: Path) -> None:
    # EXPECTED.json beside lots.csv, section `country`.
    folder = shared / "data" / "open"
    figures = json.loads((folder / "EXPECTED.json").read_text(encoding="utf-8"))["figures"]
    with (folder / "lots.csv").open(encoding="utf-8", newline="") as file:
        codes = Counter(_country(row["country"]) for row in csv.DictReader(file))

    assert codes == figures["country"]["rows_by_iso_alpha2"]
    assert [code for code in codes if code and not is_country(code)] == []

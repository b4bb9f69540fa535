"""Graded lots, as their graders typed them, brought into the form of the stock file.

What can be converted exactly is; what cannot is left for the importer to refuse: a bag weight
without a unit stays blank, as a number in a column of kilograms would claim one, and everything
else stays as it was typed.
"""

import csv
import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from pathlib import Path

import pycountry

POUND_KG = Decimal("0.45359237")
"""The international pound, exactly."""
GRAM = Decimal("0.001")

_ODD_COUNTRIES = {
    "United States (Hawaii)": "US",
    "United States (Puerto Rico)": "PR",
    "Laos": "LA",
}
_ORDINAL = re.compile(r"(\d+)(?:st|nd|rd|th)")


def graded_rows(folder: Path) -> list[dict[str, str]]:
    """Read the lots as they were typed."""
    with (folder / "lots.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def refusals(folder: Path) -> dict[str, set[str]]:
    """Read which rows a strict import refuses, and why."""
    with (folder / "rejects.csv").open(encoding="utf-8", newline="") as file:
        return {row["row_id"]: set(row["reasons"].split()) for row in csv.DictReader(file)}


def stock_rows(graded: Sequence[Mapping[str, str]]) -> list[dict[str, str]]:
    """Bring every lot into the form of the stock file, the hopeless ones as well."""
    return [_stock_row(row) for row in graded]


def _stock_row(row: Mapping[str, str]) -> dict[str, str]:
    names = (row["farm"], row["producer"], row["owner"], row["row_id"])
    return {
        "lot": row["row_id"],
        "name": next(name for name in names if name.strip()),
        "origin": _country(row["country"]),
        "supplier": row["owner"],
        "received_at": _day(row["grading_date"]),
        "sacks": row["number_of_bags"],
        "sack_kg": _sack_kg(row["bag_weight"]),
        "crop_year": row["harvest_year"],
        "process": row["processing_method"],
        "ico_mark": row["ico_number"],
        "moisture_pct": re.sub(r"\s*%$", "", row["moisture"].strip()),
        "certificate": row["certification_body"],
        "note": "\n".join((row["mill"], row["region"], row["in_country_partner"])),
    }


def _country(name: str) -> str:
    if not name.strip():
        return name
    return _ODD_COUNTRIES.get(name) or str(pycountry.countries.lookup(name).alpha_2)


def _day(typed: str) -> str:
    """Read `April 4th, 2015`; some cells end in a line break."""
    plain = _ORDINAL.sub(r"\1", typed.strip())
    return datetime.strptime(plain, "%B %d, %Y").date().isoformat()  # noqa: DTZ007 - a day only


def _sack_kg(typed: str) -> str:
    """Give kilograms as typed, and pounds converted exactly."""
    said = typed.strip()
    if re.fullmatch(r"\d+", said):
        return ""
    if in_pounds := re.fullmatch(r"(\d+) lbs", said):
        return str(Decimal(in_pounds[1]) * POUND_KG)
    return said.removesuffix(" kg")

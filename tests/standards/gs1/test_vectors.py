"""The accept and reject cases of two repositories of GS1, and its dictionary of identifiers.

Source of every case: gs1-syntax-dictionary and gs1-syntax-engine, unit tests, Apache-2.0.
"""

import json
import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pycountry
import pytest

from app.standards.gs1 import contents
from app.standards.gs1.elements import (
    SEPARATOR,
    Element,
    check_elements,
    element,
    element_string,
    is_predefined,
    parse_bracketed,
    parse_element_string,
)
from app.standards.gs1.keys import check_key
from app.standards.gs1.links import link, parse_link
from app.standards.gs1.rules import RuleBroken
from app.standards.gs1.symbols import read_symbol
from app.standards.gs1.together import EXCLUDES, KEYS, NEEDS, NO_ATTRIBUTE, names, one_of_a_family

Case = Mapping[str, Any]

UNASSIGNED = "89"
"""Cases in which the tested software was told to take identifiers that nobody has assigned."""
WORDS = "word aliases for AIs permitted"
ZEROS = "zero-suppressed GTIN permitted"
FNC1 = "^"

SYMBOLS = {
    "QR": {"]Q1", "]Q3"},
    "DM": {"]d1", "]d2"},
    "DotCode": {"]J0", "]J1"},
    "DataBarExpanded": {"]e0"},
    "GS1_128_CCA": {"]C1"},
    "EAN13": {"]E0"},
    "EAN8": {"]E4"},
}


@pytest.fixture(scope="module")
def folder(shared: Path) -> Path:
    return shared / "data" / "standards" / "gs1-syntax"


@pytest.fixture(scope="module")
def vectors(folder: Path) -> Any:
    return json.loads((folder / "vectors.json").read_text(encoding="utf-8"))


def _misses(cases: list[Case], read: Callable[[Case], object]) -> list[tuple[Case, object]]:
    """Name the cases that come out otherwise than they say."""
    assert cases
    missed: list[tuple[Case, object]] = []
    for case in cases:
        try:
            found: object = read(case)
        except RuleBroken as broken:
            if case["expect"] == "accept":
                missed.append((case, broken.detail))
        else:
            if case["expect"] == "reject" or found is False:
                missed.append((case, found))
    return missed


def _written(elements: list[Element] | tuple[Element, ...]) -> str:
    return FNC1 + element_string(elements).replace(SEPARATOR, FNC1)


@pytest.mark.parametrize(
    ("group", "check"),
    [
        ("csum", check_key),
        ("yymmd0", contents.day_or_month),
        ("yymmdd", contents.day),
        ("iso3166999", contents.country_or_999),
        ("hyphen", contents.hyphens),
        ("pcenc", contents.percent_encoded),
        ("latitude", contents.latitude),
        ("longitude", contents.longitude),
        ("hhmi", contents.clock),
    ],
)
def test_parts_of_values_are_told_as_the_standard_s_software_tells_them(
    vectors: Any, group: str, check: Callable[[str, str], object]
) -> None:
    cases = vectors["component_rules"][group]

    assert _misses(cases, lambda case: check(case["input"], "90")) == []


def test_the_countries_are_those_of_the_standard(vectors: Any) -> None:
    accepted = set(vectors["component_rules"]["iso3166_numeric_accepted"])

    assert {country.numeric for country in pycountry.countries} == accepted


def test_bracketed_texts_are_read_as_the_standard_s_software_reads_them(vectors: Any) -> None:
    def read(case: Case) -> object:
        return _written(parse_bracketed(case["input"])) == case["element_string"]

    assert _misses(vectors["parse_bracketed"], read) == []


def test_scanned_texts_are_read_as_the_standard_s_software_reads_them(vectors: Any) -> None:
    # What does not begin with FNC1 is another symbol, and told before this is called.
    cases = [each for each in vectors["parse_element_string"] if each["input"].startswith(FNC1)]

    def read(case: Case) -> object:
        return parse_element_string(case["input"][1:].replace(FNC1, SEPARATOR))

    assert len(cases) == 77
    assert _misses(cases, read) == []


def test_identifiers_go_together_as_the_standard_s_software_says(vectors: Any) -> None:
    cases = [
        each
        for each in vectors["pairing_rules"]
        if not (f"({UNASSIGNED})" in each["input"] and each["expect"] == "accept")
    ]

    assert len(cases) == 76
    assert _misses(cases, lambda case: check_elements(parse_bracketed(case["input"]))) == []


def test_links_are_read_as_the_standard_s_software_reads_them(vectors: Any) -> None:
    cases = [
        each
        for each in vectors["digital_link_parse"]
        if each.get("option") != WORDS
        and not (f"{UNASSIGNED}=" in each["input"] and each["expect"] == "accept")
    ]

    def read(case: Case) -> object:
        elements = parse_link(case["input"], zeros_may_lack=case.get("option") == ZEROS)
        return _written(elements) == case["element_string"]

    assert len(cases) == 112
    assert _misses(cases, read) == []


def test_links_are_written_as_the_standard_s_software_writes_them(vectors: Any) -> None:
    cases = [
        each
        for each in vectors["digital_link_generate"]
        if not (f"({UNASSIGNED})" in each["input"] and each["expect"] == "accept")
    ]

    def write(case: Case) -> object:
        stem = case["stem"].removesuffix(" (default)")
        return link(parse_bracketed(case["input"]), stem) == case["digital_link"]

    assert len(cases) == 21
    assert _misses(cases, write) == []


def test_symbols_are_told_as_the_standard_s_software_tells_them(vectors: Any) -> None:
    def read(case: Case) -> object:
        symbol = read_symbol(case["scan_data"])
        told = symbol.identifier in SYMBOLS[case["symbology"]]
        return told and _as_the_engine_says(symbol.text, case) == case["element_string"]

    assert _misses(vectors["scan_data"], read) == []


def _as_the_engine_says(text: str, case: Case) -> str:
    """Write a text in the notation of the cases, in which plain text escapes what means FNC1."""
    if case["scan_data"][:3] in {"]C1", "]e0", "]d2", "]Q3", "]J1"}:
        return FNC1 + text.replace(SEPARATOR, FNC1)
    if case["symbology"].startswith("EAN"):
        return text.replace("]e0", FNC1).replace(SEPARATOR, FNC1)
    return re.sub(r"^(\\*)\^", r"\1\\^", text)


_SAMPLES = {"N": "0", "X": "A", "Y": "A", "Z": "A"}
_SIGNS_INSIDE = {"4330", "4331", "4332", "4333", "7258"}
"""Identifiers whose values take one sign alone at a place: a minus, a stroke."""


def _dictionary(folder: Path) -> Iterator[tuple[str, list[str]]]:
    """Read the dictionary: an identifier, and the words that stand behind it."""
    for line in (folder / "gs1-syntax-dictionary.txt").read_text(encoding="utf-8").splitlines():
        ais, *words = line.partition("#")[0].split() or [""]
        first, _, last = ais.partition("-")
        for number in range(int(first or 1), int(last or first or 0) + 1):
            yield str(number).zfill(len(first)), words


def _attribute(words: list[str], name: str) -> set[frozenset[str]]:
    said = next((word.removeprefix(f"{name}=") for word in words if word.startswith(name)), "")
    return {frozenset(each.split("+")) for each in said.split(",") if each and each != name}


def test_what_goes_together_is_what_the_dictionary_says(folder: Path) -> None:
    dictionary = dict(_dictionary(folder))

    needs = {ai: {each for name in names(ai) for each in NEEDS.get(name, ())} for ai in dictionary}
    excludes = {
        ai: {each for name in names(ai) for each in EXCLUDES.get(name, ())}
        | ({frozenset({f"{ai[:-1]}n"})} if one_of_a_family(ai) else set())
        for ai in dictionary
    }

    assert len(dictionary) == 541
    assert needs == {ai: _attribute(words, "req") for ai, words in dictionary.items()}
    assert excludes == {ai: _attribute(words, "ex") for ai, words in dictionary.items()}


def test_what_a_link_may_hold_is_what_the_dictionary_says(folder: Path) -> None:
    dictionary = dict(_dictionary(folder))
    keys = {}
    for ai, words in dictionary.items():
        said = next((word for word in words if word.startswith("dlpkey")), None)
        if said is not None:
            rows = said.removeprefix("dlpkey").removeprefix("=").split("|")
            keys[ai] = tuple(tuple(row.split(",")) for row in rows if row)

    assert keys == KEYS
    assert {ai for ai, words in dictionary.items() if "?" not in words[0]} == NO_ATTRIBUTE
    assert {ai for ai, words in dictionary.items() if "*" in words[0]} == {
        ai for ai in dictionary if is_predefined(ai)
    }


def test_lengths_are_those_of_the_dictionary(folder: Path) -> None:
    wrong = []
    for ai, words in _dictionary(folder):
        if ai in _SIGNS_INSIDE:
            continue
        form = re.compile(r"(\[?)([NXYZ])(\.\.)?([0-9]+)")
        parts = [found for word in words if (found := form.match(word))]
        longest = sum(int(part[4]) for part in parts)
        for length, sound in ((longest, True), (longest + 1, False), (0, False)):
            if _fits(ai, _sample(parts, length)) is not sound:
                wrong.append((ai, length))

    assert wrong == []


def _sample(parts: list[re.Match[str]], length: int) -> str:
    filled = "".join(_SAMPLES[part[2]] * int(part[4]) for part in parts)
    return (filled + filled[-1])[:length]


def _fits(ai: str, value: str) -> bool:
    """Tell whether a value has a length and characters that its identifier allows."""
    try:
        element(ai, value)
    except RuleBroken as broken:
        return broken.rule != "length_or_characters"
    return True

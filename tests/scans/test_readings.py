"""What a text could be, whatever scanner and keyboard made of it.

What scanners add and swap is common practice, no source.
"""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.scans.rules import ScanKind, readings, tidy, unmarked
from app.standards.gs1.elements import SEPARATOR
from app.standards.gs1.rules import Rule, RuleBroken

BAG = "09521234000105"
TOLD = f"(01){BAG}(10)A1(15)271105"


def read_as(text: str) -> str:
    return readings(tidy(text))[0].read_as


@pytest.mark.parametrize(
    "text",
    [
        "S-000042-Z", "s-000042-z", " S-000042-Z", "S-000042-Z\r\n", "\tS-000042-Z\t",
        "\x02S-000042-Z\x03", "\ufeffS-000042-Z", "]C0S-000042-Z", "]Q1S-000042-Z\r",
        "]A0s-000042-z",
    ],
)  # fmt: skip
def test_a_code_is_read_without_what_the_scanner_adds(text: str) -> None:
    assert read_as(text) == "S-000042-Z"


@pytest.mark.parametrize(
    "separator",
    [SEPARATOR, "<GS>", "{GS}", "[GS]", "\u241d", "|", "~", "^", "^]", "\x1e", "\\x1d", "\\u001D"],
)
@pytest.mark.parametrize("identifier", ["]C1", "]d2", "]Q3", "]e0", "]J1"])
def test_a_separator_is_known_however_it_was_sent(identifier: str, separator: str) -> None:
    assert read_as(f"{identifier}01{BAG}10A1{separator}15271105\r\n") == TOLD
    assert read_as(f"{identifier} 01{BAG}10A1{separator}15271105") == TOLD
    # Some scanners send the sign that opens the symbol too, or one at the end.
    assert read_as(f"{identifier}{separator}01{BAG}10A1{separator}15271105{separator}") == TOLD


@pytest.mark.parametrize("separator", [SEPARATOR, "{GS}", "|", "~", "^"])
def test_element_strings_are_known_without_an_identifier(separator: str) -> None:
    for text in (f"01{BAG}10A1{separator}15271105", f"{separator}01{BAG}10A1{separator}15271105"):
        found = unmarked(tidy(text))
        assert found is not None
        assert found.read_as == TOLD


@pytest.mark.parametrize("text", ["S-000042-Z", "0109521234000", "A|B", "]C0A|B", "102030"])
def test_a_text_that_does_not_look_like_element_strings_is_none(text: str) -> None:
    assert unmarked(text) is None


def test_brackets_may_stand_apart() -> None:
    assert read_as(f" (01) {BAG} (10) A1 (15) 271105 ") == TOLD


@pytest.mark.parametrize(
    ("sent", "meant"),
    [
        ("]c1011231231231233310abc", "(01)12312312312333(10)ABC"),
        ("]D2011231231231233310aBC", "(01)12312312312333(10)Abc"),
        ("]q3011231231231233310ABC", "(01)12312312312333(10)abc"),
        ("]E0011231231231233310abc", "(01)12312312312333(10)ABC"),
        ("]e09521234000105", f"(01){BAG}"),
    ],
)
def test_caps_lock_is_undone_where_the_identifier_betrays_it(sent: str, meant: str) -> None:
    assert read_as(sent) == meant


def test_the_number_under_the_bars_is_told_from_a_code() -> None:
    kinds = [reading.kind for reading in readings("9521234000105")]

    assert kinds == [ScanKind.CODE, ScanKind.GTIN]
    # One digit off it is a code that somebody may have given, and no GTIN.
    assert [reading.kind for reading in readings("9521234000106")] == [ScanKind.CODE]
    assert read_as("]E09521234000105") == f"(01){BAG}"
    assert read_as("]I109521234000105") == f"(01){BAG}"


def test_a_mark_with_hyphens_is_also_a_code() -> None:
    # ITC Coffee Guide, Identification of exports.
    kinds = [reading.kind for reading in readings("002-1961-0978")]

    assert kinds == [ScanKind.CODE, ScanKind.ICO_MARK]
    assert [reading.kind for reading in readings("2/1961/978")] == [ScanKind.ICO_MARK]


@pytest.mark.parametrize(
    "address", ["https://brackwater.example/menu", "HTTPS://BRACKWATER.EXAMPLE", "https://a/01"]
)
def test_an_address_that_names_nothing_of_gs1_is_no_mistake(address: str) -> None:
    assert [reading.kind for reading in readings(address)] == [ScanKind.UNKNOWN]
    assert [reading.kind for reading in readings(f"]Q1{address}")] == [ScanKind.UNKNOWN]


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("]C1", Rule.SHAPE),
        (f"]C101{BAG[:-1]}6", Rule.CHECK_DIGIT),
        ("]E0952123400010", Rule.LENGTH_OR_CHARACTERS),
        ("]E09521234000106", Rule.CHECK_DIGIT),
        ("(10)A1", Rule.COMPANION_MISSING),
        (f"(01){BAG}(10)", Rule.LENGTH_OR_CHARACTERS),
        (f"https://id.gs1.org/01/{BAG[:-1]}6", Rule.CHECK_DIGIT),
        (f"]Q1https://id.gs1.org/01/{BAG}?15=271131", Rule.DATE),
    ],
)
def test_a_text_that_claims_to_be_of_gs1_is_read_strictly(text: str, rule: Rule) -> None:
    with pytest.raises(RuleBroken) as caught:
        readings(text)

    assert caught.value.rule == rule


@given(text=st.text(min_size=1, max_size=80))
def test_any_text_is_read_or_refused(text: str) -> None:
    for sent in (text, f"]C1{text}", f"]E0{text}", f"01{BAG}{text}", f"({text}", f"https://{text}"):
        with suppress(RuleBroken):
            assert readings(tidy(sent))
        with suppress(RuleBroken):
            unmarked(tidy(sent))

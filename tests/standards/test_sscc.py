"""Serial Shipping Container Codes: their check digit, and making them."""

import pytest

from app.standards.sscc import as_scanned, is_sscc, make_sscc


@pytest.mark.parametrize(("code", "sound"), [
    # Tests of the GS1 syntax dictionary (src/lint_csum.c) and of the GS1 syntax engine.
    ("123456789012345675", True),
    ("123456789012345670", False),
    ("106141411234567897", True),
    ("395212340000000427", True),
    (" 23456789012345675", False),
    ("12345678901234567 ", False),
    ("12345678 012345675", False),
    ("", False),
    # A sound GTIN is no SSCC: it has fewer digits.
    ("12345678901231", False),
    ("१23456789012345675", False),
])  # fmt: skip
def test_the_check_digit_tells_a_sound_code(code: str, sound: bool) -> None:
    assert is_sscc(code) is sound


@pytest.mark.parametrize(("prefix", "number", "code"), [
    # The EPC tag data standard's example 4012345.0000000111 with the extension digit 0.
    ("4012345", 111, "040123450000001112"),
    ("9521234", 1, "095212340000000013"),
    # The extension digit is the highest digit of the number: our rule.
    ("9521234", 3_000_000_042, "395212340000000427"),
    ("952123456789", 99999, None),
])  # fmt: skip
def test_a_code_is_made_of_prefix_and_number(prefix: str, number: int, code: str | None) -> None:
    made = make_sscc(prefix, number)

    assert is_sscc(made)
    assert code in {made, None}


def test_a_number_that_does_not_fit_beside_the_prefix_is_refused() -> None:
    with pytest.raises(ValueError, match="leaves 5 digits, too few for 100000"):
        make_sscc("952123456789", 100_000)


@pytest.mark.parametrize("scanned", [
    "395212340000000427", "00395212340000000427", "(00)395212340000000427",
    "]C100395212340000000427",
])  # fmt: skip
def test_what_a_scanner_sends_is_the_code_without_its_identifier(scanned: str) -> None:
    assert as_scanned(scanned) == "395212340000000427"


def test_what_is_no_scan_stays_as_it_is() -> None:
    assert [as_scanned(each) for each in ("00-CASE", "CASE-7")] == ["00-CASE", "CASE-7"]

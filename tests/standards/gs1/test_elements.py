"""Keys and element strings, there and back, and each refusal by the rule that was broken.

Figures without another source stand in the GS1 General Specifications as the reference texts of the
house quote them; prefix 952 is the one GS1 keeps for examples (from memory).
"""

from contextlib import suppress
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.shared.times import now
from app.standards.gs1.elements import (
    GROSS_KG,
    NET_KG,
    SEPARATOR,
    Element,
    bracketed,
    check_elements,
    element,
    element_string,
    parse_bracketed,
    parse_element_string,
    weight,
)
from app.standards.gs1.keys import (
    check_gln,
    check_key,
    check_sscc,
    gtin_14,
    gtin_forms,
    with_check_digit,
)
from app.standards.gs1.links import link, parse_link
from app.standards.gs1.rules import Rule, RuleBroken
from app.standards.gs1.symbols import read_symbol

BAG = "09521234000105"
CSET_82 = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"
"""General Specifications, figure 7.11-1: what a lot or a serial number may be written in."""
CSET_39 = "#-/0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
"""General Specifications, figure 7.11-2."""

texts = st.text(CSET_82, min_size=1, max_size=20)
gtins = st.from_regex(r"[0-9]{13}", fullmatch=True).map(with_check_digit)


def broken_by(text: str) -> Rule:
    with pytest.raises(RuleBroken) as caught:
        check_elements(parse_element_string(text))
    return caught.value.rule


@pytest.mark.parametrize(
    ("body", "whole"),
    [
        # IBM support note reproducing the GS1 table.
        ("629104150021", "6291041500213"),
        # GS1 India, SERV/checkdgt.htm.
        ("890400021003", "8904000210037"),
        # GS1 UK leaflet "How to calculate your check digit"; its digit is computed by its rule.
        ("501234567890", "5012345678900"),
        # Our examples, computed by the same rule.
        ("9952123400001", "99521234000016"),
        ("952123400001", "9521234000013"),
        ("39521234000000042", "395212340000000427"),
    ],
)
def test_a_check_digit_is_what_is_missing_to_ten(body: str, whole: str) -> None:
    assert with_check_digit(body) == whole
    assert check_key(whole) == whole


@pytest.mark.parametrize("digits", ["02345673", "416000336108", "9521234000013", BAG])
def test_a_gtin_has_eight_twelve_thirteen_or_fourteen_digits(digits: str) -> None:
    assert gtin_14(digits) == digits.zfill(14)
    assert digits in gtin_forms(gtin_14(digits))


@pytest.mark.parametrize(
    ("digits", "rule"),
    [
        ("12345673", Rule.CHECK_DIGIT),
        ("416000336109", Rule.CHECK_DIGIT),
        ("0234567", Rule.LENGTH_OR_CHARACTERS),
        ("095212340001051", Rule.LENGTH_OR_CHARACTERS),
        ("0952123400010X", Rule.LENGTH_OR_CHARACTERS),
        ("٠٩٥٢١٢٣٤٠٠٠١٠٥", Rule.LENGTH_OR_CHARACTERS),
        ("", Rule.LENGTH_OR_CHARACTERS),
    ],
)
def test_what_is_no_gtin_is_told_by_its_rule(digits: str, rule: Rule) -> None:
    with pytest.raises(RuleBroken) as caught:
        gtin_14(digits)

    assert caught.value.rule == rule


def test_shipping_units_and_places_have_lengths_of_their_own() -> None:
    # gs1-syntax-dictionary, tests of lint_csum; GS1 EPCIS, examples.
    assert check_sscc("123456789012345675")
    assert check_sscc("106141411234567897")
    assert check_gln("9506000134307")
    assert check_gln("4012345000115")

    for check, digits in ((check_sscc, "9521234000013"), (check_gln, "395212340000000427")):
        with pytest.raises(RuleBroken) as caught:
            check(digits)
        assert caught.value.rule == Rule.LENGTH_OR_CHARACTERS


def test_a_short_gtin_is_looked_up_in_every_length_it_fits() -> None:
    assert gtin_forms("00000002345673") == [
        "02345673", "000002345673", "0000002345673", "00000002345673",
    ]  # fmt: skip
    assert gtin_forms("99521234000016") == ["99521234000016"]


@given(
    body=st.from_regex(r"[0-9]{1,17}", fullmatch=True), at=st.integers(0, 16), by=st.integers(1, 9)
)
def test_one_wrong_digit_never_passes(body: str, at: int, by: int) -> None:
    whole = with_check_digit(body)
    at %= len(whole)
    wrong = f"{whole[:at]}{(int(whole[at]) + by) % 10}{whole[at + 1 :]}"

    with pytest.raises(RuleBroken):
        check_key(wrong)


def test_a_lot_is_written_in_82_characters() -> None:
    # gs1-syntax-dictionary, tests of lint_cset82.
    for start in range(0, len(CSET_82), 20):
        lot = CSET_82[start : start + 20]
        assert element("10", lot).value == lot
    assert len(CSET_82) == 82
    # Lots of sacks and of roasts as this house would write them.
    assert element("10", "GL24017-S01").value == "GL24017-S01"


@pytest.mark.parametrize(
    "lot",
    [
        "LOT#1",
        "LOT$1",
        "LOT@1",
        "ABC~",
        "ABC ",
        "AB C",
        " ABC",
        "A\tB",
        "A\x1dB",
        "Kaffée",
        "A" * 21,
    ],
)
def test_a_lot_of_other_characters_or_of_more_than_twenty_is_refused(lot: str) -> None:
    with pytest.raises(RuleBroken) as caught:
        element("10", lot)

    assert caught.value.rule == Rule.LENGTH_OR_CHARACTERS
    assert caught.value.ai == "10"


def test_a_refusal_says_in_words_what_a_value_is() -> None:
    for ai, value, said in (
        ("01", "952", "(01) GTIN is 14 digits, not “952”"),
        ("37", "", "(37) COUNT is up to 8 digits, not “”"),
        ("255", "1", "(255) GCN is 13 digits [and up to 12 digits], not “1”"),
    ):
        with pytest.raises(RuleBroken) as caught:
            element(ai, value)
        assert caught.value.detail == said


def test_a_part_number_is_written_in_39_characters() -> None:
    for start in (0, 9):
        number = CSET_39[start : start + 30]
        assert element("8010", number).value == number
    assert len(CSET_39) == 39
    for number in ("abc12", "AB_12", "A" * 31):
        with pytest.raises(RuleBroken):
            element("8010", number)


def test_the_century_is_the_one_that_makes_a_year_nearest() -> None:
    # General Specifications, 7.12: 51 years or more ahead is the last century, 50 back the next.
    year = now().year
    for said in range(year - 49, year + 51):
        assert element("15", f"{said % 100:02}0715").day == date(said, 7, 15)


def test_a_best_before_without_a_day_is_the_end_of_its_month() -> None:
    # General Specifications, 3.4: DD filled with 00 means the last day of the month.
    open_day, leap = element("15", "271100"), element("15", "280200")

    assert open_day.day == date(2027, 11, 30)
    assert open_day.day_is_open
    assert leap.day == date(2028, 2, 29)
    assert not element("15", "271105").day_is_open


@pytest.mark.parametrize(
    ("ai", "value"),
    [
        ("15", "271301"), ("15", "270229"), ("15", "270132"), ("17", "270000"),
        # gs1-syntax-dictionary: harvest and time of production want a full day.
        ("7007", "200600"), ("7007", "200601200600"), ("8008", "20060012"), ("8008", "20060124"),
        ("7003", "2006012460"),
    ],
)  # fmt: skip
def test_a_day_that_is_none_is_refused_by_the_rule_of_dates(ai: str, value: str) -> None:
    with pytest.raises(RuleBroken) as caught:
        element(ai, value)

    assert caught.value.rule == Rule.DATE


def test_a_harvest_has_a_first_and_a_last_day() -> None:
    several, one = element("7007", "251001251231"), element("7007", "251001")

    assert (several.day, several.last_day) == (date(2025, 10, 1), date(2025, 12, 31))
    assert (one.day, one.last_day) == (date(2025, 10, 1), None)


@pytest.mark.parametrize(
    ("ai", "value", "kg"),
    [
        ("3103", "000250", "0.250"),
        ("3102", "006020", "60.20"),
        ("3100", "000060", "60"),
        ("3105", "000001", "0.00001"),
        ("3302", "006075", "60.75"),
    ],
)
def test_weights_are_exact_decimals_with_the_places_they_say(ai: str, value: str, kg: str) -> None:
    assert str(element(ai, value).amount) == kg
    assert weight(ai[:3], Decimal(kg)) == Element(ai, value)


@pytest.mark.parametrize("kg", ["-0.1", "1000000", "0.000001", "10000.0001"])
def test_a_weight_that_six_digits_cannot_hold_is_refused(kg: str) -> None:
    with pytest.raises(RuleBroken) as caught:
        weight(NET_KG, Decimal(kg))

    assert caught.value.rule == Rule.LENGTH_OR_CHARACTERS


@given(grams=st.integers(0, 999_999))
def test_every_mass_in_grams_comes_back_as_it_went(grams: int) -> None:
    kg = Decimal(grams) / 1000

    assert weight(GROSS_KG, kg).amount == kg


def test_a_bag_says_what_it_is_in_one_row() -> None:
    bag = [element("01", BAG), element("15", "271105"), element("10", "26110501A")]

    written = element_string(bag)

    assert written == "0109521234000105152711051026110501A"
    assert parse_element_string(written) == bag


def test_fixed_lengths_first_need_no_separator_and_last_need_one() -> None:
    first = [element("01", "99521234000016"), weight(NET_KG, Decimal("60.20"))]
    last = [element("10", "GL24017-S01")]

    # Computed by General Specifications, 7.8: no separator after a predefined length.
    assert element_string(first + last) == "0199521234000016310200602010GL24017-S01"
    assert element_string(last + first) == f"10GL24017-S01{SEPARATOR}01995212340000163102006020"
    assert parse_element_string(element_string(last + first)) == last + first


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("", Rule.SHAPE),
        (SEPARATOR, Rule.UNKNOWN_AI),
        ("891234", Rule.UNKNOWN_AI),
        ("0109521234000106", Rule.CHECK_DIGIT),
        (f"010952123400010{SEPARATOR}10A", Rule.LENGTH_OR_CHARACTERS),
        # Twenty characters are the most a lot has; the rest would begin with a count.
        (f"01{BAG}10{'A' * 20}37123", Rule.LENGTH_OR_CHARACTERS),
        (f"01{BAG}15271131", Rule.DATE),
        (f"01{BAG}422000", Rule.CONTENT),
        (f"01{BAG}10A{SEPARATOR}10B", Rule.REPEATED),
        (f"01{BAG}02{BAG}3710", Rule.NOT_TOGETHER),
        ("10A1", Rule.COMPANION_MISSING),
        (f"01{BAG}3102006020{SEPARATOR}3103060200", Rule.NOT_TOGETHER),
        # A due date of a payment is no date of food: it wants the reference of the bill.
        (f"01{BAG}12271105", Rule.COMPANION_MISSING),
    ],
)
def test_a_broken_text_is_told_by_its_rule(text: str, rule: Rule) -> None:
    assert broken_by(text) == rule


@pytest.mark.parametrize("country", ["231", "076", "170", "320", "404"])
def test_countries_of_coffee_are_known_by_their_numbers(country: str) -> None:
    # ISO 3166-1: Ethiopia, Brazil, Colombia, Guatemala, Kenya.
    assert element("422", country).value == country


def test_brackets_say_the_same_as_separators() -> None:
    text = rf"(01){BAG}(10)A\(1\)(21)7"

    elements = parse_bracketed(text.replace(r"\)", ")"))

    assert [each.value for each in elements] == [BAG, "A(1)", "7"]
    assert parse_bracketed(bracketed(elements)) == elements


@given(gtin=gtins, lot=texts, serial=texts, kg=st.integers(0, 999_999), inner=texts)
def test_everything_written_reads_the_same_again(
    gtin: str, lot: str, serial: str, kg: int, inner: str
) -> None:
    elements = [
        element("01", gtin), element("10", lot), element("21", serial),
        weight(NET_KG, Decimal(kg) / 1000), element("99", inner),
    ]  # fmt: skip

    check_elements(elements)

    assert parse_element_string(element_string(elements)) == elements
    assert parse_bracketed(bracketed(elements)) == elements
    assert sorted(parse_link(link(elements)), key=str) == sorted(elements, key=str)
    assert list(read_symbol(f"]d2{element_string(elements)}").elements) == elements


@given(text=st.text(alphabet=st.characters(max_codepoint=0x2FFF), max_size=60))
def test_any_text_is_read_or_refused_and_never_breaks_anything(text: str) -> None:
    for read in (
        parse_element_string, parse_bracketed, parse_link, read_symbol,
        lambda said: parse_element_string(f"01{BAG}{said}"),
        lambda said: parse_link(f"https://a/01/{BAG}{said}"),
        lambda said: read_symbol(f"]{said}"),
    ):  # fmt: skip
        with suppress(RuleBroken):
            read(text)


def test_a_carrier_is_told_and_left_out() -> None:
    # gs1-syntax-engine, tests of scandata.c.
    body = f"011231231231233310ABC123{SEPARATOR}99TESTING"

    for carrier in ("]d2", "]Q3", "]C1", "]e0"):
        said = {each.ai: each.value for each in read_symbol(f"{carrier}{body}").elements}
        assert said == {"01": "12312312312333", "10": "ABC123", "99": "TESTING"}


@pytest.mark.parametrize(
    ("lot", "path"), [("ABC+123", "ABC%2B123"), ("010/1402/0001", "010%2F1402%2F0001")]
)
def test_signs_that_mean_something_in_an_address_are_encoded(lot: str, path: str) -> None:
    # The first: gs1-syntax-engine, tests of dl.c; the second is an ICO mark, computed.
    made = [element("01", BAG), element("10", lot)]

    assert link(made) == f"https://id.gs1.org/01/{BAG}/10/{path}"
    assert parse_link(link(made)) == made


@pytest.mark.parametrize(
    ("address", "rule"),
    [
        ("https://brackwater.example/menu", Rule.NO_KEY),
        ("ftp://a/01/09521234000105", Rule.NO_KEY),
        ("https://a/gtin/09521234000105", Rule.NO_KEY),
        ("https://a/01/09521234000106", Rule.CHECK_DIGIT),
        ("https://a/01/9521234000105", Rule.LENGTH_OR_CHARACTERS),
        ("https://a/01/09521234000105/", Rule.LINK),
        ("https://a/01/09521234000105/21/7/10/A", Rule.LINK),
        ("https://a/01/09521234000105?10=A", Rule.LINK),
        ("https://a/01/09521234000105?21=A", Rule.LINK),
        ("https://a/01/09521234000105?99=", Rule.LENGTH_OR_CHARACTERS),
        ("https://a/01/09521234000105?99=A&99=A", Rule.REPEATED),
        ("https://a/01/09521234000105?999=A", Rule.UNKNOWN_AI),
        ("https://a/01/0952123400010%005", Rule.LINK),
        ("https://a b/01/09521234000105", Rule.LINK),
    ],
)
def test_a_broken_link_is_told_by_its_rule(address: str, rule: Rule) -> None:
    with pytest.raises(RuleBroken) as caught:
        parse_link(address)

    assert caught.value.rule == rule

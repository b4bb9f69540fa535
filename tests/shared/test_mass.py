"""Kilograms outside, grams inside, and not a gram lost or made on the way."""

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from app.shared.answers import read_json, to_json
from app.shared.mass import (
    HEAVIEST_G,
    Grams,
    KgIn,
    KgOut,
    SignedKgIn,
    grams_from_kg,
    kg_from_grams,
    kg_text,
    share_out,
)
from tests.api import Api, kg, problem

REPEATABLE = settings(derandomize=True, deadline=None)
MASS_IN: TypeAdapter[int] = TypeAdapter(KgIn)
CHANGE_IN: TypeAdapter[int] = TypeAdapter(SignedKgIn)
MASS_OUT: TypeAdapter[int] = TypeAdapter(KgOut)


def read(text: str) -> int:
    """Read a mass as a request does."""
    return MASS_IN.validate_python(read_json(text))


@REPEATABLE
@given(st.integers(1, HEAVIEST_G))
def test_every_gram_up_to_30_tonnes_survives_the_way_out_and_in(grams: int) -> None:
    written = to_json(MASS_OUT.dump_python(grams))

    assert read(written.decode()) == grams
    assert read(f"{grams // 1000}.{grams % 1000:03d}") == grams


@REPEATABLE
@given(st.integers(-HEAVIEST_G, HEAVIEST_G).filter(bool))
def test_every_signed_change_survives_too(grams: int) -> None:
    written = to_json(MASS_OUT.dump_python(grams))

    assert CHANGE_IN.validate_python(read_json(written)) == grams


@REPEATABLE
@given(st.integers(0, HEAVIEST_G))
def test_what_is_written_has_one_to_three_decimals_and_no_exponent(grams: int) -> None:
    whole, point, decimals = to_json(kg_from_grams(grams)).decode().partition(".")

    assert whole.isdigit()
    assert point
    assert 1 <= len(decimals) <= 3
    assert decimals == "0" or not decimals.endswith("0")


@pytest.mark.parametrize(
    ("grams", "text"),
    [(0, "0.0"), (1, "0.001"), (125, "0.125"), (60_000, "60.0"), (60_100, "60.1"),
     (100_000, "100.0"), (29_999_999, "29999.999"), (30_000_000, "30000.0"), (-350, "-0.35")],
)  # fmt: skip
def test_a_mass_is_written_as_people_write_it(grams: int, text: str) -> None:
    assert to_json(kg_from_grams(grams)).decode() == text
    assert kg_text(grams) == f"{text} kg"


@pytest.mark.parametrize(
    ("text", "grams"),
    [
        ("60", 60_000), ("60.0", 60_000), ("60.10", 60_100), ("60.100", 60_100), ("0.125", 125),
        ("0.001", 1), ("30000", HEAVIEST_G), ("30000.000", HEAVIEST_G), ("6e1", 60_000),
        ("6.01E+1", 60_100), ("60100e-3", 60_100), ("1.5000000000000000000000000000000", 1500),
        # Sums and products that binary floats get wrong: 0.1 + 0.2, 1.005, 8.115 * 1000.
        ("0.3", 300), ("1.005", 1005), ("8.115", 8115), ("4.35", 4350),
    ],
)  # fmt: skip
def test_one_mass_has_many_spellings(text: str, grams: int) -> None:
    assert read(text) == grams


REFUSED = [
    "NaN", "Infinity", "-Infinity", "1e400", "-1e400", "1e999999999", "1e-999999999", "1e100",
    "0.0001", "60.0001", "0.00100000000000000000000000001", "30000.001", "1e30", "-1", "-0.001",
    "0", "0.0", "-0", "0e5", "true", "false", "null", '"60"', '"60 kg"', "[60]", "{}", "060",
    "60.", ".5", "+60", "6_0", "0x3C", "1" + "0" * 5000, "0." + "0" * 5000 + "1", "60,0",
]  # fmt: skip
"""What is no mass above zero in whole grams up to 30 t, or no JSON number at all (RFC 8259, 6)."""


@pytest.mark.parametrize("text", REFUSED, ids=lambda text: text[:20])
def test_what_is_no_mass_is_refused(text: str) -> None:
    with pytest.raises((ValueError, ValidationError)):
        read(text)


@pytest.mark.parametrize("text", REFUSED, ids=lambda text: text[:20])
@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_request_with_what_is_no_mass_is_a_422_and_stores_nothing(api: Api, text: str) -> None:
    body = f'{{"code": "DRUM", "kind": "roaster", "capacity_kg": {text}}}'.encode()
    optional = text == "null"

    answer = api.send("POST", "/machines", body)

    if optional:
        assert answer.status_code == 201
        return
    problem(answer, 422, "invalid")
    assert api.get("/machines")["items"] == []


@pytest.mark.parametrize("text", ["0", "0.0", "-0.0", "30000.001", "-30000.001", "true", '"1"'])
def test_a_change_is_refused_when_it_changes_nothing_or_too_much(text: str) -> None:
    with pytest.raises(ValidationError):
        CHANGE_IN.validate_python(read_json(text))


def test_a_binary_float_is_refused_whatever_its_value() -> None:
    # Nobody may slip one in between the parser, which makes none, and the field.
    half: Any = 0.5

    with pytest.raises(ValidationError):
        MASS_IN.validate_python(half)


def test_a_name_that_stands_twice_is_refused(api: Api) -> None:
    # RFC 8259, section 4, leaves open which of the two counts; RFC 7493, section 2.3, forbids it.
    body = b'{"code": "DRUM", "kind": "roaster", "capacity_kg": 15, "capacity_kg": 75}'

    refusal = problem(api.send("POST", "/machines", body), 422, "invalid")

    assert "capacity_kg stands twice" in refusal["detail"]
    assert refusal["errors"][0]["pointer"] == "#"
    assert api.get("/machines")["items"] == []


def test_the_digits_that_were_sent_are_the_digits_that_are_answered(api: Api) -> None:
    body = b'{"code": "DRUM", "kind": "roaster", "capacity_kg": 60.10}'

    answer = api.send("POST", "/machines", body)

    assert b'"capacity_kg":60.1,' in answer.content or b'"capacity_kg":60.1}' in answer.content
    assert api.get("/machines/DRUM")["capacity_kg"] == kg("60.1")


@REPEATABLE
@given(st.integers(0, HEAVIEST_G), st.lists(st.integers(0, HEAVIEST_G), min_size=1).filter(any))
def test_shares_add_up_to_the_gram(total: int, weights: list[int]) -> None:
    shares = share_out(Grams(total), weights)

    assert sum(shares) == total
    for share, weight in zip(shares, weights, strict=True):
        assert abs(share * sum(weights) - total * weight) < sum(weights)


@REPEATABLE
@given(st.decimals(allow_nan=True, allow_infinity=True))
def test_grams_come_from_a_decimal_exactly_or_not_at_all(kilograms: Decimal) -> None:
    try:
        grams = grams_from_kg(kilograms)
    except ValueError:
        return
    assert Decimal(grams) == kilograms * 1000

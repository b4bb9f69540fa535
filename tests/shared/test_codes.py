"""Codes: a misread one is told from one that does not exist, and none means two things."""

import string
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError
from stdnum.iso7064 import mod_37_36

from app.ledger.tables import LETTERS
from app.shared.codes import Code, NewCode, Standing, issue, standing
from tests.api import Api, kg, problem
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes

REPEATABLE = settings(derandomize=True, deadline=None)
CODE: TypeAdapter[str] = TypeAdapter(Code)
NEW_CODE: TypeAdapter[str] = TypeAdapter(NewCode)
CHARACTERS = string.ascii_uppercase + string.digits + "-._"

issued_codes = st.builds(
    issue,
    st.sampled_from(sorted(LETTERS.values())),
    st.integers(1, 10_000_000) | st.integers(1, 2_000),
)


def substitutions(code: str) -> Iterator[str]:
    for i, there in enumerate(code):
        yield from (f"{code[:i]}{c}{code[i + 1 :]}" for c in CHARACTERS if c != there)


def transpositions(code: str) -> Iterator[str]:
    for i, (one, other) in enumerate(pairwise(code)):
        if one != other:
            yield f"{code[:i]}{other}{one}{code[i + 2 :]}"


def test_the_check_character_is_that_of_iso_7064() -> None:
    # ISO/IEC 7064:2003, MOD 37,36: the worked example A12425GABC1234002 with M, as documented by
    # python-stdnum (stdnum.iso7064.mod_37_36).
    assert mod_37_36.calc_check_digit("A12425GABC1234002") == "M"
    assert standing("A-124250-A") is not Standing.FOREIGN
    assert issue("S", 42) == f"S-000042-{mod_37_36.calc_check_digit('S000042')}"


@REPEATABLE
@given(issued_codes)
def test_an_issued_code_is_sound_whatever_its_capitals(code: str) -> None:
    assert standing(code) is Standing.SOUND
    assert CODE.validate_python(code.lower()) == code


@settings(REPEATABLE, max_examples=30)
@given(issued_codes)
def test_every_wrong_character_is_told_as_misread(code: str) -> None:
    assert {standing(wrong) for wrong in substitutions(code)} == {Standing.MISREAD}


@REPEATABLE
@given(issued_codes)
def test_every_swap_of_two_neighbours_is_told_as_misread(code: str) -> None:
    assert {standing(wrong) for wrong in transpositions(code)} == {Standing.MISREAD}


def test_the_swaps_that_the_standard_misses_are_caught_too() -> None:
    # MOD 37,36 alone gives 000189 and 000198 behind an S the same character.
    assert mod_37_36.calc_check_digit("S000189") == mod_37_36.calc_check_digit("S000198")

    for number in range(1, 5000):
        code = issue("S", number)
        assert all(standing(wrong) is Standing.MISREAD for wrong in transpositions(code)), code


def test_no_two_numbers_have_one_code() -> None:
    codes = {issue(letter, number) for letter in LETTERS.values() for number in range(1, 3000)}

    assert len(codes) == len(LETTERS) * 2999
    assert len(set(LETTERS.values())) == len(LETTERS)


@pytest.mark.parametrize("code", ["GL-1", "SIDAMA-2026", "R.7_B", "A-BOURBON-1", "S-12-X", "00"])
def test_nothing_can_be_said_of_somebody_elses_code(code: str) -> None:
    assert standing(code) is Standing.FOREIGN


LOOK_ALIKES = {
    "Cyrillic A": "\u0410-1",
    "full-width S": "\uff33-000042-M",
    "non-breaking hyphens": "S\u2011000042\u2011M",
    "full-width 2": "S-00004\uff12-M",
    "Arabic-Indic digits": "S-\u0660\u0660\u0660\u0660\u0664\u0662-M",
    "long s, whose capital is S": "\u017f-1",
    "dotless i, whose capital is I": "\u0131-1",
    "Kelvin sign, whose small letter is k": "\u212a-1",
    "ligature, whose capitals are F and I": "\ufb01-1",
    "zero-width space": "GL-1\u200b",
    "soft hyphen": "GL\u00ad-1",
}


@pytest.mark.parametrize("code", LOOK_ALIKES.values(), ids=LOOK_ALIKES.keys())
def test_letters_that_only_look_like_ours_are_refused(code: str) -> None:
    with pytest.raises(ValidationError):
        CODE.validate_python(code)


@pytest.mark.parametrize("code", ["A", "-A", ".A", "_A", "A B", "A/B", "A" * 33, "", "A\n", "Ä1"])
def test_a_code_has_2_to_32_plain_characters(code: str) -> None:
    with pytest.raises(ValidationError):
        CODE.validate_python(code if code != "A\n" else "A\nB")


@pytest.mark.parametrize("code", ["S-000042-M", "s-000042-m", "Z-123456-0", "L-0000001-A"])
def test_a_new_code_does_not_take_the_form_of_the_issued_ones(code: str) -> None:
    assert CODE.validate_python(code) == code.upper()
    with pytest.raises(ValidationError, match="choose another form"):
        NEW_CODE.validate_python(code)


def test_a_misread_and_an_unknown_code_get_two_answers(api: Api) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]
    swapped = sack.replace("02", "20")

    assert api.get(f"/sacks/{sack.lower()}")["code"] == sack
    problem(api.send("GET", f"/sacks/{swapped}"), 404, "misread-code")
    problem(api.send("GET", f"/sacks/{sack.replace('0', 'O', 1)}"), 404, "misread-code")
    problem(api.send("GET", f"/sacks/{issue('S', 999)}"), 404, "unknown-code")
    problem(api.send("GET", "/sacks/SIDAMA-1"), 404, "unknown-code")


def test_one_code_names_one_unit_of_whatever_kind(api: Api) -> None:
    furnish(api)
    one, other = sack_codes(receive(api, 60, 60, lot="GL-1"))
    roast(api, {one: 60}, 51, code="R-A")
    blend(api, {"R-A": 20}, code="B-A")
    pack(api, {"B-A": 10}, 40, code="P-A")
    dispatch(api, {"P-A": 12}, code="D-A")
    line = {"pack": "P-A", "bags": 1}
    back = {"dispatch": "D-A", "lines": [line], "reason": "torn"}
    api.post("/returns", back | {"code": "T-A"})
    sacks = [{"code": "NEW-1", "net_kg": kg("60")}]
    lot = {"name": "Sidama", "origin": "ET", "sacks": sacks}
    arrival = {"supplier": "Finca El Roble", "received_at": "2026-03-02T08:00:00Z"}

    bodies: dict[str, dict[str, Any]] = {
        "/deliveries": arrival,
        "/roasts": {"machine": "DRUM-75", "draws": [{"sack": other, "kg": 20}], "end_kg": 17},
        "/blends": {"parts": [{"unit": "R-A", "kg": 1}]},
        "/packs": {"product": "HOUSE-250", "from": [{"unit": "R-A", "kg": 1}], "bags": 1},
        "/dispatches": {"customer": "Café Nord", "lines": [line]},
        "/returns": back,
    }

    for taken in ("gl-1", other, "R-A", "b-a", "P-A", "D-A", "t-a"):
        for path, body in bodies.items():
            asked = {"lots": [lot | {"code": taken}]} if path == "/deliveries" else {"code": taken}
            answer = api.send("POST", path, body | asked)
            # The book's own form is nobody's to choose, taken or not.
            slug = "invalid" if taken == other else "code-taken"
            refusal = problem(answer, 422 if taken == other else 409, slug)
            assert taken.upper() in refusal["detail"]
    problem(api.send("POST", "/deliveries", arrival | {"lots": [lot, lot]}), 409, "code-taken")

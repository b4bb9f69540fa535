"""A trace at the keyboard is the answer of the API, as a table, CSV or JSON."""

import csv
import io

import pytest

from app.shared.answers import read_json
from tests.api import Api
from tests.cli.conftest import Jutebook
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes


@pytest.fixture
def sack(api: Api) -> str:
    """A sack of which a roast, a pack and a dispatch were made."""
    furnish(api)
    code = sack_codes(receive(api, 60, lot="LOT-1"))[0]
    roast(api, {code: 30}, 25, code="ROAST-1")
    pack(api, {"ROAST-1": 25}, 100, code="PACK-1")
    dispatch(api, {"PACK-1": 40}, code="SENT-1")
    return code


def test_forward_is_told_first_as_tables_with_customers_and_the_balance(
    sack: str, jutebook: Jutebook
) -> None:
    told = jutebook("trace", sack.lower())

    assert told.exit_code == 0, told.output
    assert told.stdout.startswith(f"Forward from sack {sack}\n")
    for word in ("ROAST-1", "PACK-1", "SENT-1", "Café Nord", "Ida, +49 000 1234", "roasting loss"):
        assert word in told.stdout
    assert "Accounted for: 100.0 %" in told.stdout


def test_backward_names_the_supplier(sack: str, jutebook: Jutebook) -> None:
    told = jutebook("trace", "SENT-1", "--backward")

    assert told.stdout.startswith("Backward from dispatch SENT-1\n")
    assert sack in told.stdout
    assert "Finca El Roble" in told.stdout


@pytest.mark.usefixtures("sack")
@pytest.mark.parametrize("direction", ["forward", "backward"])
def test_json_is_the_very_answer_of_the_api(jutebook: Jutebook, api: Api, direction: str) -> None:
    told = jutebook("trace", "ROAST-1", f"--{direction}", "--format", "json")

    assert read_json(told.stdout) == api.get(f"/trace/ROAST-1?direction={direction}")


def test_csv_has_a_line_for_every_unit(sack: str, jutebook: Jutebook, api: Api) -> None:
    told = jutebook("trace", sack, "--format", "csv")

    lines = list(csv.DictReader(io.StringIO(told.stdout, newline="")))
    units = api.get(f"/trace/{sack}?direction=forward")["units"]
    assert [line["code"] for line in lines] == [unit["code"] for unit in units]
    assert [line["made_kg"] for line in lines] == [str(unit["made_kg"]) for unit in units]


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("NOT-THERE", "No lot, sack, roast or other unit has the code NOT-THERE."),
        ("S-000042-Z", "S-000042-Z was misread: its check character does not fit."),
        ("what is this", "what is this is no code: a code has 2 to 32 characters"),
    ],
)
def test_a_code_that_leads_nowhere_is_one_sentence(
    jutebook: Jutebook, code: str, said: str
) -> None:
    refused = jutebook("trace", code)

    assert refused.exit_code == 1
    assert said in refused.stderr
    assert refused.stdout == ""


def test_an_epcis_document_at_the_keyboard_has_the_events_of_the_api(
    sack: str, jutebook: Jutebook, api: Api
) -> None:
    told = jutebook("epcis", sack.lower(), "--forward")

    assert told.exit_code == 0, told.output
    asked = api.get(f"/epcis?code={sack}&direction=forward")
    assert read_json(told.stdout)["epcisBody"] == asked["epcisBody"]
    assert "S-404: " not in jutebook("epcis", "S-404").output
    assert jutebook("epcis", "!").exit_code == 1

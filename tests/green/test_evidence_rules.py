"""What a lot's evidence lacks, by what the firm is for its delivery."""

from dataclasses import replace
from datetime import date

import pytest

from app.green.evidence.rules import FirmRole, Known, Lack, Named, OnFile, lacking

STATEMENT = Named("24FRXVV3VOS991", "NEUI2LDH", None, simplified=False)
SIMPLIFIED = Named("S26FRNMNBSA96Q", None, None, simplified=True)
WHOLE = Known(
    lot_id=1, lot="GL-1", name="Sidama", origin="ET", delivery="A-1", supplier="Finca El Roble",
    supplier_address="Kaai 1", supplier_email="desk@roble.example", role=FirmRole.OPERATOR,
    plots=OnFile(1, 4, 65_000, ["ET"]), hs_code="090111", produced_from=date(2025, 10, 1),
    produced_to=date(2026, 1, 31), statements=[STATEMENT],
)  # fmt: skip
"""An operator's lot that lacks nothing."""

BOUGHT = replace(
    WHOLE, role=FirmRole.TRADER, plots=None, hs_code=None, produced_from=None, produced_to=None,
    statements=[],
)  # fmt: skip
"""A trader's lot of which nobody knows but the supplier."""


def lacks(known: Known, *, trader_plots: bool = False) -> list[Lack]:
    return [what for what, _ in lacking(known, trader_plots=trader_plots)]


def test_who_imports_green_and_sells_it_roasted_is_an_operator_and_shows_everything() -> None:
    # Regulation (EU) 2023/1115, Arts 4 and 9: due diligence, a statement, and the file of Art. 9.
    assert lacks(WHOLE) == []
    bare = Known(lot_id=1, lot="GL-1", name="Sidama", origin="ET", delivery="A-1")
    assert lacks(replace(bare, role=FirmRole.OPERATOR)) == [
        Lack.SUPPLIER, Lack.PLOTS, Lack.PRODUCTION_PERIOD, Lack.HS_CODE, Lack.STATEMENT,
    ]  # fmt: skip


def test_a_lot_of_which_nobody_said_what_the_firm_is_is_asked_as_an_operator_s() -> None:
    # Our rule.
    assert lacks(replace(WHOLE, role=None)) == [Lack.ROLE]
    assert Lack.STATEMENT in lacks(replace(BOUGHT, role=None))


def test_a_trader_keeps_the_operator_s_reference_and_needs_no_plots() -> None:
    # Commission's questions and answers, version 5, 3.1.1 and 3.4 (Art. 5(3)), at second hand:
    # who buys coffee placed on the market is a trader, since roasting keeps the code 0901; the
    # first one after the operator keeps the reference, later ones need not.
    from_operator = replace(BOUGHT, from_operator=True)
    from_trader = replace(BOUGHT, from_operator=False)
    unknown = replace(BOUGHT, from_operator=None)

    assert lacks(from_operator) == lacks(unknown) == [Lack.STATEMENT]
    assert lacks(from_trader) == []
    named = [STATEMENT._replace(verification=None)]
    assert lacks(replace(from_operator, statements=named)) == []


def test_a_roastery_may_ask_for_a_trader_s_plots_too() -> None:
    # Our rule, a setting.
    origin = [Lack.PLOTS, Lack.PRODUCTION_PERIOD, Lack.HS_CODE]

    assert lacks(replace(BOUGHT, from_operator=False), trader_plots=True) == origin


def test_without_any_duty_the_coffee_is_judged_by_its_origin_alone() -> None:
    # Our rule.
    free = replace(WHOLE, role=FirmRole.NONE, statements=[], supplier=None)

    assert lacks(free) == []
    assert lacks(replace(free, plots=None)) == [Lack.PLOTS]


@pytest.mark.parametrize("role", [FirmRole.OPERATOR, FirmRole.TRADER])
def test_a_supplier_without_email_leaves_the_evidence_incomplete(role: FirmRole) -> None:
    # Regulation (EU) 2023/1115, Art. 9(1)(e): name, postal address and email of the supplier.
    known = replace(WHOLE, role=role)

    assert lacks(replace(known, supplier_email=None)) == [Lack.SUPPLIER_EMAIL]
    assert lacks(replace(known, supplier_address=None)) == [Lack.SUPPLIER_ADDRESS]
    assert lacks(replace(known, supplier=None)) == [Lack.SUPPLIER]


def test_a_statement_has_its_verification_number_unless_it_is_a_simplified_declaration() -> None:
    # Schemas of the regulation's information system, as quoted in a research note of September
    # 2026; that a simplified declaration has no verification number is our reading.
    bare = STATEMENT._replace(verification=None)

    assert lacks(replace(WHOLE, statements=[bare])) == [Lack.VERIFICATION]
    assert lacks(replace(WHOLE, statements=[STATEMENT, bare])) == [Lack.VERIFICATION]
    assert lacks(replace(WHOLE, statements=[SIMPLIFIED])) == []


def test_coffee_has_an_hs_code_of_coffee() -> None:
    # Regulation (EU) 2023/1115, Annex I: 0901.
    assert lacks(replace(WHOLE, hs_code="0901")) == []
    assert lacks(replace(WHOLE, hs_code="210111")) == [Lack.HS_CODE]


def test_plots_in_another_country_than_the_lot_s_do_not_show_its_origin() -> None:
    # Our rule.
    elsewhere = OnFile(2, 1, 10_000, ["ET", "KE"])

    assert lacks(replace(WHOLE, plots=elsewhere)) == [Lack.COUNTRY]
    assert lacks(replace(WHOLE, plots=elsewhere, role=FirmRole.TRADER)) == [Lack.COUNTRY]
    assert lacks(replace(WHOLE, plots=OnFile(3, 1, 10_000, []))) == []


def test_evidence_that_is_not_available_is_missing_even_where_nothing_is_asked() -> None:
    # Our rule.
    free = replace(BOUGHT, from_operator=False)
    declared = replace(free, not_available="the exporter has closed")

    assert lacks(free) == []
    assert lacks(declared) == [Lack.EVIDENCE]
    assert "the exporter has closed" in lacking(declared, trader_plots=False)[0].why
    # What is recorded afterwards counts anew.
    assert lacks(replace(declared, statements=[STATEMENT])) == []

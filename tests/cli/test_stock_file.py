"""The stock file by itself: what a row must say, and what is said of a row that does not."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from app.green.stock_file import COLUMNS, Limits, StockFile, StockFileError, read_stock_file
from tests.cli.sheets import FULL, SOUND

LIMITS = Limits(datetime(2026, 3, 31, 12, tzinfo=UTC))
HEADER = "lot,name,origin,received_at,sacks,sack_kg"


def read(text: str, limits: Limits = LIMITS) -> StockFile:
    return read_stock_file(text.encode(), limits)


def one(**cells: str) -> StockFile:
    row = SOUND | cells
    quoted = ",".join('"' + cell.replace('"', '""') + '"' for cell in row.values())
    return read(f"{','.join(row)}\n{quoted}\n")


def reasons(sheet: StockFile) -> list[str]:
    assert sheet.rows == []
    return [f"{column}: {reason}" for row in sheet.refused for column, reason in row.reasons]


def test_the_columns_are_those_of_the_contract_in_its_order() -> None:
    assert ",".join(COLUMNS) == (
        "lot,name,origin,supplier,received_at,sacks,sack_kg,location,crop_year,process,ico_mark,"
        "moisture_pct,certificate,cost_per_kg,currency,note"
    )


def test_a_full_row_is_read_to_the_gram_and_its_words_stay_as_they_were_typed() -> None:
    sheet = one(**FULL)

    (row,) = sheet.rows
    assert (row.lot, row.origin, row.location) == ("OPEN-2", "GT", "A-01")
    assert row.name == FULL["name"]
    assert row.note == FULL["note"]
    assert row.received_at == datetime(2026, 1, 5, 7, 30, tzinfo=UTC)
    assert (row.sacks, row.weights, row.whole_g) == (2, [(2, 69_125)], 138_250)
    assert (row.moisture_pct, row.cost_per_kg) == (Decimal("11.25"), Decimal("7.2"))


def test_sacks_of_pounds_weigh_whole_grams_and_together_what_the_row_says() -> None:
    # 130 lb of 0.45359237 kg each, the international avoirdupois pound of 1959.
    (row,) = one(sacks="85", sack_kg="58.9670081").rows

    assert row.whole_g == 5_012_196
    assert row.weights == [(1, 58_968), (84, 58_967)]
    assert sum(count * grams for count, grams in row.weights) == row.whole_g


def test_a_day_is_its_midnight_in_utc() -> None:
    (row,) = one(received_at="2026-01-05").rows

    assert row.received_at == datetime(2026, 1, 5, tzinfo=UTC)


def test_what_a_row_says_does_not_hang_on_the_spelling_of_its_figures() -> None:
    (plain,) = one(sack_kg="60", received_at="2026-01-05").rows
    (long,) = one(sack_kg=" 60.000 ", received_at="2026-01-05T01:00:00+01:00", lot="open-1").rows

    assert plain.said() == long.said()


@pytest.mark.parametrize(
    ("column", "cell", "reason"),
    [
        ("lot", "", "is missing"),
        ("lot", "A", "a code has 2 to 32 characters"),
        ("lot", "LOT 7", "a code has 2 to 32 characters"),
        ("lot", "S-000042-Z", "has the form of the codes the book issues"),
        ("name", "  ", "is missing"),
        ("name", "x" * 501, "has more than 500 characters"),
        ("name", "a\0b", "NUL"),
        ("origin", "XX", "no country code of ISO 3166-1"),
        ("origin", "Ethiopia", "no country code of ISO 3166-1"),
        ("received_at", "05.01.2026", "is neither a date such as 2026-03-02"),
        ("received_at", "2026-02-30", "no day or time of the calendar"),
        ("received_at", "2026-01-05T08:00:00", "nor a time with its offset"),
        ("received_at", "2026-W02-1", "is neither a date"),
        ("received_at", "0001-01-01T00:00:00+14:00", "no day or time of the calendar"),
        ("received_at", "0001-01-01", "lies before 1900-01-01"),
        ("received_at", "2026-04-01", "lies in the future"),
        ("received_at", "2026-03-31T12:00:01Z", "lies in the future"),
        ("sacks", "0", "a lot has 1 to 5000"),
        ("sacks", "5001", "a lot has 1 to 5000"),
        ("sacks", "3.0", "no whole number"),
        ("sacks", "-3", "no whole number"),
        ("sacks", "٣", "no whole number"),
        ("sack_kg", "60,5", "no plain number"),
        ("sack_kg", "60 kg", "no plain number"),
        ("sack_kg", "6e1", "no plain number"),
        ("sack_kg", "NaN", "no plain number"),
        ("sack_kg", "-60", "no plain number"),
        ("sack_kg", "0.000", "holds no coffee"),
        ("sack_kg", "60.0000000001", "more than 9 decimals"),
        ("sack_kg", "30000.001", "over the limit of 30000 kg"),
        ("location", "rack 7", "no code of a location"),
        ("moisture_pct", "0", "0 % means not measured: leave it blank"),
        ("moisture_pct", "100.1", "more than all of it"),
        ("moisture_pct", "11.1234", "more than 3 decimals"),
        ("moisture_pct", "11 %", "no plain number"),
        ("cost_per_kg", "-1", "no plain number"),
        ("currency", "EURO", "no currency code of ISO 4217"),
        ("currency", "ZZZ", "no currency code of ISO 4217"),
        ("supplier", "x" * 201, "has more than 200 characters"),
        ("note", "x" * 2001, "has more than 2000 characters"),
    ],
)
def test_a_cell_that_is_wrong_is_refused_with_its_column_and_reason(
    column: str, cell: str, reason: str
) -> None:
    refused = reasons(one(**{"cost_per_kg": "1", "currency": "EUR"} | {column: cell}))

    assert [said for said in refused if said.startswith(column) and reason in said], refused
    assert len(refused) == 1


@pytest.mark.parametrize(
    "cells",
    [
        {"sacks": "1"},
        {"sacks": "5000"},
        {"sack_kg": "0.001"},
        {"sack_kg": "30000"},
        {"moisture_pct": "0.001"},
        {"moisture_pct": "100"},
        {"cost_per_kg": "0", "currency": "eur"},
        {"currency": "EUR"},
        {"name": "x" * 500},
        {"received_at": "2026-03-31T12:00:00Z"},
        {"received_at": "2026-03-31"},
    ],
)
def test_a_cell_at_the_very_limit_is_taken(cells: dict[str, str]) -> None:
    assert len(one(**cells).rows) == 1


def test_a_price_without_its_currency_is_refused() -> None:
    assert reasons(one(cost_per_kg="7.2")) == ["currency: is missing beside a price"]


def test_every_reason_of_a_row_is_given_at_once() -> None:
    refused = reasons(one(lot="", origin="XX", sacks="0", sack_kg="sixty"))

    assert [said.split(":")[0] for said in refused] == ["lot", "origin", "sacks", "sack_kg"]


def test_limits_for_one_sack_are_held_with_both_ends_in() -> None:
    limits = Limits(LIMITS.latest, 10_000, 100_000)
    rows = [f"A-{kg},x,ET,2026-01-05,1,{kg}" for kg in ("9.999", "10", "100", "100.001")]

    sheet = read("\n".join([HEADER, *rows]), limits)

    assert [row.lot for row in sheet.rows] == ["A-10", "A-100"]
    assert [row.line for row in sheet.refused] == [2, 5]


def test_a_row_is_named_by_the_line_it_begins_on_however_many_lines_its_cells_have() -> None:
    sheet = read(
        f'{HEADER}\r\nA-1,"two\r\nlines\n or three",ET,2026-01-05,1,60\r\n'
        "\r\nA-2,bad,XX,2026-01-05,1,60\r\nA-3,good,ET,2026-01-05,1,60\r\nA-4,bad,,2026-01-05,1,60"
    )

    assert [(row.lot, row.line) for row in sheet.rows] == [("A-1", 2), ("A-3", 7)]
    assert [(row.lot, row.line) for row in sheet.refused] == [("A-2", 6), ("A-4", 8)]


def test_of_two_rows_with_one_lot_code_the_later_is_refused_with_the_line_of_the_first() -> None:
    rows = ("A-1,x,ET,2026-01-05,1,60", "A-2,x,ET,2026-01-05,1,60", "a-1,x,XX,2026-01-05,1,60")

    sheet = read("\n".join([HEADER, *rows]))

    assert [row.lot for row in sheet.rows] == ["A-1", "A-2"]
    (refused,) = sheet.refused
    assert refused.line == 4
    assert [column for column, _ in refused.reasons] == ["origin", "lot"]
    assert "the same lot code as line 2" in str(refused)


def test_a_row_with_too_few_or_too_many_cells_is_refused() -> None:
    sheet = read(f"{HEADER}\nA-1,x,ET,2026-01-05,1\nA-2,x,ET,2026-01-05,1,60,\n")

    assert [str(row) for row in sheet.refused] == [
        "line 2: lot A-1: 5 cells where the header has 6",
        "line 3: lot A-2: 7 cells where the header has 6",
    ]


def test_a_byte_order_mark_and_rows_of_nothing_but_commas_are_passed_over() -> None:
    sheet = read_stock_file(
        f"\ufeff{HEADER}\n,,,,,\nA-1,x,ET,2026-01-05,1,60\n,,,,,\n".encode(), LIMITS
    )

    assert [(row.lot, row.line) for row in sheet.rows] == [("A-1", 3)]
    assert sheet.refused == []


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "empty"),
        (HEADER.encode(), "no row below"),
        (f"{HEADER}\nA-1,Caf\u00e9,ET,2026-01-05,1,60".encode("latin-1"), "Line 2 is not UTF-8"),
        (HEADER.replace(",", ";").encode(), "semicolons"),
        (b"lot,name,origin,received_at,sacks\n", "sack_kg is missing"),
        (f"{HEADER},colour\n".encode(), "colour is unknown"),
        (f"{HEADER},\n".encode(), "(blank) is unknown"),
        (f"{HEADER},lot,name\n".encode(), "lot, name are there twice"),
        (f'{HEADER}\nA-1,"x\n'.encode(), "The record at line 2 is no CSV"),
        (f'{HEADER}\nA-1,"x"y,ET,2026-01-05,1,60\n'.encode(), "The record at line 2 is no CSV"),
    ],
)
def test_a_file_that_is_no_stock_file_is_refused_as_a_whole(content: bytes, reason: str) -> None:
    with pytest.raises(StockFileError) as refusal:
        read_stock_file(content, LIMITS)

    assert reason in str(refusal.value)

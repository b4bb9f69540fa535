"""Opening stock at the pages: looked at row by row, then booked once."""

import csv
import io
from collections.abc import Callable

from tests.api import Api, kg
from tests.cli.sheets import FULL, SOUND
from tests.makers import furnish
from tests.web.conftest import Visitor, filled_fields, words


def sheet(*rows: dict[str, str]) -> str:
    made = io.StringIO(newline="")
    writer = csv.DictWriter(made, list(FULL), restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return made.getvalue()


def test_a_stock_file_is_looked_at_and_then_booked_once(
    api: Api, visitor_as: Callable[..., Visitor], book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    ada = visitor_as("admin")
    sound = [SOUND, SOUND | {"lot": "OPEN-9", "note": "first\r\nsecond"}]
    file = sheet(*sound, SOUND | {"lot": "BAD-1", "sack_kg": "sixty", "location": "NO-WHERE"}, FULL)
    form = filled_fields(ada.get("/opening-stock").text) | {"file": file}
    ends = len(api.get("/entries?limit=200")["items"])

    seen = ada.post("/opening-stock", form | {"_ask": "look"})
    refused = ada.post("/opening-stock", form)
    unread = ada.post("/opening-stock", form | {"file": "lot;name\n1;2", "_ask": "look"})
    unchanged = len(api.get("/entries?limit=200")["items"])
    left_out = form | {"skip_refused": "true"}
    booked, again = ada.post("/opening-stock", left_out), ada.post("/opening-stock", left_out)
    told = words(ada.get("/opening-stock"))
    after = filled_fields(ada.get("/opening-stock").text) | {"file": sheet(*sound)}
    there = ada.post("/opening-stock", after)

    assert seen.status_code == 200
    assert "Accepted 3 Already there 0 Refused 1" in words(seen)
    assert "5 BAD-1 sack_kg 'sixty' is no plain number" in words(seen)
    assert "2 OPEN-1 Sidama Washed 3 180 kg" in words(seen)
    assert "BAD-1,Sidama" in filled_fields(seen.text)["file"]
    assert refused.status_code == 422
    assert "1 rows are refused" in words(refused)
    assert (unread.status_code, unchanged) == (422, ends)
    assert (booked.status_code, again.status_code) == (303, 303)
    assert "3 lots are in the book: 8 sacks, 498.25" in told
    assert "Refused rows were left out: 1." in told
    assert len(api.get("/entries?limit=200")["items"]) == ends + 3
    lot = api.get("/lots/OPEN-9")
    assert (lot["received_kg"], lot["note"], lot["held"]) == (kg("180"), "first\nsecond", False)
    assert there.status_code == 422
    assert "no row is new" in words(there).lower()
    book_is_sound()


def test_opening_stock_is_taken_over_by_an_administrator_in_few_statements_a_look(
    api: Api, visitor_as: Callable[..., Visitor], statements: Callable[[], int]
) -> None:
    furnish(api)
    ada, buyer = visitor_as("admin"), visitor_as("buyer")
    form = filled_fields(ada.get("/opening-stock").text) | {"_ask": "look"}
    many = [SOUND | {"lot": f"OPEN-{number}", "location": "A-01"} for number in range(250)]
    counted = []

    for rows in (many[:2], many):
        statements()
        page = ada.post("/opening-stock", form | {"file": sheet(*rows)})
        counted.append(statements())

    assert "and 50 more" in words(page)
    assert counted[0] == counted[1] <= 9
    assert buyer.get("/opening-stock").status_code == 403
    assert "/opening-stock" not in buyer.get("/").text

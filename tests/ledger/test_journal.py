"""The journal: a line for every write, chained, complete, and silent about people's contacts."""

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, NoReturn

from sqlalchemy import Connection, Engine, select, text
from sqlmodel import Session, SQLModel

from app.ledger.checks import check_book
from app.shared.db import reading
from app.shared.times import now
from tests.api import Api, kg
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes
from tests.records import unguard

ENTRY = SQLModel.metadata.tables["entry"]


def journal(engine: Engine) -> list[dict[str, Any]]:
    with reading(engine) as session:
        rows = session.execute(select(ENTRY).order_by(ENTRY.c.id)).mappings()
        return [dict(row) for row in rows]


def walk(api: Api) -> None:
    """Book one of everything, with fractions in it."""
    furnish(api)
    one, other = sack_codes(receive(api, kg("60.1"), 60, lot="GL-1", moisture_pct=kg("11.35")))
    api.post("/moves", {"sacks": [one], "to": "B-02"})
    api.post("/readings", {"subject": "GL-1", "kind": "water_activity", "value": kg("0.55")})
    held = api.post("/holds", {"units": ["GL-1"], "reason": "mould"})
    api.post(f"/holds/{held['id']}/release", {"reason": "dust"})
    api.post("/adjustments", {"unit": other, "kg": kg("-0.35"), "reason": "sample"})
    batch = roast(api, {one: kg("60.1")}, kg("51.085"), colour=kg("70.5"))["code"]
    api.post(f"/roasts/{batch}/cuppings", {"verdict": "release", "score": kg("86.25")})
    mixed = blend(api, {batch: kg("50.005")})["code"]
    bags = pack(api, {mixed: kg("50.001")}, 200)["code"]
    sent = dispatch(api, {bags: 12})["code"]
    back = {"dispatch": sent, "lines": [{"pack": bags, "bags": 2}], "reason": "torn"}
    api.post("/returns", back)
    api.post(f"/units/{roast(api, {other: 10}, 9)['code']}/void", {"reason": "booked twice"})


def use_up(api: Api, sack: str, drawn_kg: Decimal, end_kg: int, **more: str) -> None:
    """Roast the rest of a sack, whatever the book had left of it."""
    draws = [{"sack": sack, "kg": drawn_kg, "emptied": True}]
    api.post("/roasts", {"machine": "DRUM-75", "draws": draws, "end_kg": end_kg} | more)


def test_each_entry_is_sealed_over_its_members_and_the_hash_before_it(
    api: Api, engine: Engine
) -> None:
    # Recomputed here from the form that is documented, with nothing of the program: SHA-256 of
    # JSON with sorted names, no spaces, UTF-8, and times in UTC to the microsecond.
    api.post("/suppliers", {"name": 'Ferme „Été" \\ 咖啡'}, Idempotency_Key="scan-7")
    walk(api)

    before = "0" * 64
    for number, entry in enumerate(journal(engine), 1):
        sealed = {
            name: value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
            if isinstance(value, datetime)
            else value
            for name, value in entry.items()
            if name != "sha256"
        }
        written = json.dumps(sealed, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        assert entry["id"] == number
        assert entry["previous_sha256"] == before
        assert entry["sha256"] == hashlib.sha256(written.encode()).hexdigest()
        before = entry["sha256"]


def test_the_journal_is_the_same_line_for_line_to_those_who_read_it_at_the_api(
    api: Api, engine: Engine
) -> None:
    walk(api)

    shown = api.get("/entries?limit=500")["items"]

    assert [(line["id"], line["kind"], line["sha256"]) for line in shown] == [
        (entry["id"], entry["kind"], entry["sha256"]) for entry in journal(engine)
    ]


def test_one_request_that_writes_is_one_entry_and_one_that_is_refused_or_reads_is_none(
    api: Api, engine: Engine
) -> None:
    furnish(api)
    there = len(journal(engine))
    sack = sack_codes(receive(api, 60, 60, 60))[0]
    after_receiving = len(journal(engine))

    use_up(api, sack, kg("59"), 50)
    api.refuse("/adjustments", {"unit": sack, "kg": -1, "reason": "spill"}, 409,
               "insufficient-stock")  # fmt: skip
    api.send("PATCH", "/customers/1", {"contact": "Ole"}, If_Match='"7"')
    api.get(f"/trace/{sack}?direction=forward")

    assert after_receiving == there + 1
    assert [entry["kind"] for entry in journal(engine)[after_receiving:]] == ["roast"]


def test_an_entry_names_who_wrote_it_by_the_name_of_their_token(
    api_as: Callable[..., Api], api: Api, engine: Engine
) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]

    api_as("roaster").post("/holds", {"units": [sack], "reason": "it smells"})
    api_as("quality").post("/holds/1/release", {"reason": "it does not"})

    assert [entry["who"] for entry in journal(engine)[-3:]] == ["admin", "roaster", "quality"]


def test_an_entry_keeps_when_it_happened_and_when_the_book_learnt_of_it(
    api: Api, engine: Engine
) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]
    before = now()

    roast(api, {sack: 10}, 8, roasted_at="2026-03-03T06:30:00.250001+02:00")

    *_, entry = journal(engine)
    assert entry["happened_at"] == datetime(2026, 3, 3, 4, 30, 0, 250001, tzinfo=UTC)
    assert before <= entry["recorded_at"] <= now()
    shown = api.get("/entries?limit=500")["items"][-1]
    assert shown["happened_at"] == "2026-03-03T04:30:00.250001Z"


def test_no_fact_went_through_a_binary_float(api: Api, engine: Engine) -> None:
    walk(api)

    def trap(number: str) -> NoReturn:
        raise AssertionError(f"{number} is a fraction: grams are whole, other figures are text")

    for entry in journal(engine):
        json.loads(entry["facts"], parse_float=trap, parse_constant=trap)


def test_the_facts_hold_what_was_said_and_every_line_it_wrote(api: Api, engine: Engine) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]

    use_up(api, sack, kg("59.9"), 51, code="R-A", style="filter")

    *_, entry = journal(engine)
    facts = json.loads(entry["facts"])
    assert facts["said"]["style"] == "filter"
    assert facts["said"]["draws"] == [{"sack": sack, "grams": 59900, "emptied": True}]
    (made,), (flow,), (difference,) = (
        facts["book"][name] for name in ("born", "flows", "adjusted")
    )
    assert made[1:] == ["R-A", "roast", 51000]
    assert flow[1:] == [made[0], 59900]
    assert difference == [flow[0], -100, "draw_difference"]


def test_whom_to_call_is_never_in_the_journal(api: Api, engine: Engine) -> None:
    contact = "Ida Beispiel, +49 000 9876543"
    api.post("/customers", {"name": "Café Süd", "contact": contact})

    changed = api.send("PATCH", "/customers/1", {"contact": "Ole Muster"}, If_Match='"1"')

    assert changed.json()["contact"] == "Ole Muster"
    lines = [entry["facts"] for entry in journal(engine)]
    assert not any(word in line for line in lines for word in ("Ida", "9876543", "Ole"))
    assert json.loads(lines[-1])["said"]["fields"] == ["contact"]


def found(engine: Engine) -> list[str]:
    with reading(engine) as session:
        return list(check_book(session))


OTHERWISE: dict[str, Any] = {
    "kind": "rumour",
    "happened_at": datetime(2026, 1, 1, tzinfo=UTC),
    "recorded_at": datetime(2026, 1, 1, tzinfo=UTC),
    "who": "nobody",
    "facts": '{"book":{},"said":{}}',
    "idempotency_key": "other",
    "fingerprint": "f" * 64,
    "reverses_id": 1,
    "previous_sha256": "0" * 64,
    "sha256": "0" * 64,
}


def test_a_change_of_any_member_of_an_entry_is_named(api: Api, engine: Engine) -> None:
    walk(api)
    unguard(engine)
    entry = next(line for line in journal(engine) if line["kind"] == "roast")
    this = ENTRY.update().where(ENTRY.c.id == entry["id"])

    unseen = []
    for member, value in OTHERWISE.items():
        with engine.begin() as connection:
            connection.execute(this.values({member: value}))
        if not any(line.startswith(f"entry {entry['id']} ") for line in found(engine)):
            unseen.append(member)
        with engine.begin() as connection:
            connection.execute(this.values({member: entry[member]}))

    assert OTHERWISE.keys() == entry.keys() - {"id"}
    assert unseen == []
    assert found(engine) == []


def resealed(connection: Connection) -> None:
    """Take a line out of the middle and close the gap, as a careful forger would try."""
    third = select(ENTRY.c.previous_sha256).where(ENTRY.c.id == 3).scalar_subquery()
    connection.execute(ENTRY.update().where(ENTRY.c.id == 4).values(previous_sha256=third))
    connection.execute(ENTRY.delete().where(ENTRY.c.id == 3))


def test_a_line_taken_out_of_the_journal_is_named(api: Api, engine: Engine) -> None:
    furnish(api)
    unguard(engine)

    with engine.begin() as connection:
        resealed(connection)

    assert found(engine) == [
        "entry 3 is missing: the next one there is 4",
        "entry 4 was changed: its hash does not fit",
    ]


FORGED = {
    "UPDATE unit SET left_g = left_g + 1 WHERE code = 'GL-1-A'": "has 50001 g left in the book",
    "UPDATE unit SET made_g = made_g + 1 WHERE code = 'GL-1-A'": "is not as its entry made it",
    "UPDATE unit SET code = 'GL-1-B' WHERE code = 'GL-1-A'": "is not as its entry made it",
    "UPDATE unit SET kind = 'pack' WHERE code = 'GL-1-A'": "is not as its entry made it",
    "UPDATE unit SET born_entry_id = 1 WHERE code = 'GL-1-A'": "is not as its entry made it",
    "UPDATE unit SET voided_entry_id = 1 WHERE code = 'R-A'": "is not marked as voided",
    "UPDATE flow SET grams = 9999 WHERE grams = 10000": "is 9999 g; its entry says 10000",
    "DELETE FROM flow WHERE grams = 10000": "stands in the journal and not in the book",
    "UPDATE adjustment SET grams = -1": "by -1 g (spill, entry",
    "UPDATE adjustment SET reason = 'sample'": "(sample, entry",
    "UPDATE adjustment SET entry_id = 1": "(spill, entry 1) stands in the book alone",
    "DELETE FROM adjustment": "stands in the journal alone",
}
"""What somebody could do to the tables, and what the book says of it when it checks itself."""


def test_a_book_that_differs_from_its_journal_is_named(api: Api, engine: Engine) -> None:
    furnish(api)
    lot = {
        "code": "GL-1",
        "name": "Sidama",
        "origin": "ET",
        "sacks": [{"code": "GL-1-A", "net_kg": 60}],
    }
    api.post(
        "/deliveries",
        {"supplier": "Finca El Roble", "received_at": "2026-03-02T08:00:00Z", "lots": [lot]},
    )
    roast(api, {"GL-1-A": 10}, 8, code="R-A")
    api.post("/adjustments", {"unit": "R-A", "kg": -1, "reason": "spill"})
    unguard(engine)

    unseen = {}
    for statement, named in FORGED.items():
        with Session(engine) as session:
            session.execute(text(statement))
            said = list(check_book(session))
        if not any(named in line for line in said):
            unseen[statement] = said

    assert unseen == {}
    assert found(engine) == []

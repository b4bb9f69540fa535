"""Customers: where they are, and whether anybody knows who they are."""

import pytest
from sqlalchemy import Engine, select
from sqlmodel import col

from app.ledger.tables import Entry
from app.shared.db import reading
from tests.api import Api, problem

ADDRESS = "Nordlaan 9\n4381 Brackwater"


def test_an_address_stands_on_the_card_and_never_in_the_journal(api: Api, engine: Engine) -> None:
    entered = api.post("/customers", {"name": "Café Nord", "address": "Zuidlaan 1, Brackwater"})

    changed = api.send("PATCH", "/customers/1", {"address": ADDRESS}, If_Match='"1"').json()

    assert (entered["address"], entered["kind"]) == ("Zuidlaan 1, Brackwater", "business")
    assert changed["address"] == ADDRESS
    with reading(engine) as session:
        facts = " ".join(session.scalars(select(col(Entry.facts))))
    assert "laan" not in facts
    assert '"fields":["address"]' in facts


@pytest.mark.parametrize(
    "change", [{"kind": "consumers"}, {"address": " "}, {"address": "x" * 1001}]
)
def test_a_customer_stays_of_its_kind_and_an_address_says_something(
    api: Api, change: dict[str, object]
) -> None:
    api.post("/customers", {"name": "Café Nord"})

    answer = api.send("PATCH", "/customers/1", change, If_Match='"1"')

    [error] = problem(answer, 422, "invalid")["errors"]
    assert error["pointer"] == f"#/{next(iter(change))}"
    assert api.get("/customers/1")["version"] == 1

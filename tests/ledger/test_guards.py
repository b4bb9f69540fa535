"""Every table is either one that may be edited or guarded by the database; none is forgotten."""

from sqlalchemy import Engine, text

from app.schema import metadata

EDITED = {
    "certificate": "a card",
    "crate_kind": "a card",
    "customer": "a card",
    "customer_order": "a card",
    "customer_order_line": "is replaced with a change of its order",
    "instrument": "a card",
    "location": "a card",
    "machine": "a card",
    "material": "a card",
    "planning_card": "a card",
    "product": "a card",
    "purchase_contract": "a card",
    "recipe": "a card",
    "standing_order": "a card",
    "style": "a card",
    "supplier": "a card",
    "token": "is revoked",
    "unit": "what is left, where it stands, whether it was voided; the rest has a guard of its own",
    "user_account": "changes passwords, roles and what a person chose; is closed",
    "web_session": "not of the book: is marked as seen, and deleted when it ends",
}
"""Tables whose rows may change, each with what changes."""


def guarded(engine: Engine) -> set[str]:
    """Name the tables of which the database lets nobody change, delete or replace a row."""
    with engine.connect() as connection:
        if engine.dialect.name == "postgresql":
            rows = connection.execute(text(
                "SELECT DISTINCT tgrelid::regclass::text FROM pg_trigger "
                "WHERE tgname = tgrelid::regclass::text || '_append_only' AND tgenabled = 'O'"
            ))  # fmt: skip
            return {name.strip('"') for (name,) in rows}
        rows = connection.execute(
            text("SELECT tbl_name, name FROM sqlite_master WHERE type = 'trigger'")
        )
        found: dict[str, set[str]] = {}
        for table, trigger in rows:
            found.setdefault(table, set()).add(trigger.removeprefix(f"{table}_"))
    wanted = {"no_update", "no_delete", "no_replace"}
    return {table for table, triggers in found.items() if wanted <= triggers}


def test_every_table_of_facts_is_guarded(engine: Engine) -> None:
    tables = {table.name for table in metadata().sorted_tables}

    assert len(tables) > 60
    assert tables - guarded(engine) == EDITED.keys()

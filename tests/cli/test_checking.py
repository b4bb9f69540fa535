"""The book checks itself, and names what somebody changed behind its back."""

from collections.abc import Callable

import pytest
from sqlalchemy import Connection, Engine, text

from tests.api import Api
from tests.cli.conftest import Jutebook
from tests.makers import furnish, receive, roast, sack_codes

SEAL = "0" * 64
"""A hash that fits nothing."""


@pytest.fixture
def sack(api: Api) -> str:
    """A sack of which a roast was made and a sample taken."""
    furnish(api)
    code = sack_codes(receive(api, 60, 61, lot="LOT-1"))[0]
    roast(api, {code: 30}, 25, code="ROAST-1")
    api.post("/adjustments", {"unit": code, "kg": -1, "reason": "sample"})
    return code


@pytest.fixture
def behind_its_back(engine: Engine) -> Callable[[str], None]:
    """Run a statement with every guard of the book taken away."""

    def change(statement: str) -> None:
        with engine.begin() as connection:
            _take_guards_away(connection)
            connection.execute(text(statement))

    return change


def _take_guards_away(connection: Connection) -> None:
    if connection.dialect.name == "sqlite":
        connection.execute(text("PRAGMA ignore_check_constraints = ON"))
        triggers = connection.scalars(text("SELECT name FROM sqlite_master WHERE type = 'trigger'"))
        for trigger in triggers.all():
            connection.execute(text(f"DROP TRIGGER {trigger}"))
        return
    for table in ("entry", "unit", "flow", "adjustment"):
        connection.execute(text(f"ALTER TABLE {table} DISABLE TRIGGER USER"))


def test_a_sound_book_is_said_to_be_sound_with_what_was_checked(
    sack: str, jutebook: Jutebook
) -> None:
    done = jutebook("check")

    assert sack
    assert done.exit_code == 0
    assert done.stdout.endswith("entries and 4 units.\nThe book is sound.\n")


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        (
            "UPDATE unit SET left_g = left_g + 1 WHERE code = '{sack}'",
            "unit {sack} has 29001 g left",
        ),
        ("UPDATE unit SET made_g = made_g - 1 WHERE code = 'ROAST-1'", "unit ROAST-1 is not as"),
        ("UPDATE unit SET code = 'LOT-2' WHERE code = 'LOT-1'", "unit LOT-2 is not as"),
        ("UPDATE flow SET grams = grams + 1 WHERE grams = 30000", "30001 g"),
        ("DELETE FROM flow WHERE grams = 30000", "stands in the journal and not in the book"),
        ("UPDATE adjustment SET grams = -999", "-999 g"),
        ("DELETE FROM adjustment", "-1000 g"),
        ("UPDATE entry SET who = 'nobody' WHERE kind = 'roast'", "was changed: its hash"),
        ("UPDATE entry SET facts = '{{' WHERE kind = 'roast'", "its facts are damaged"),
        ("UPDATE entry SET sha256 = '{seal}' WHERE kind = 'roast'", "was changed: its hash"),
        (
            "UPDATE entry SET previous_sha256 = '{seal}' WHERE kind = 'roast'",
            "does not carry the hash of the entry before it",
        ),
    ],
)
def test_whatever_was_changed_behind_its_back_is_named(
    sack: str, jutebook: Jutebook, behind_its_back: Callable[[str], None], statement: str, said: str
) -> None:
    behind_its_back(statement.format(sack=sack, seal=SEAL))

    found = jutebook("check")

    assert found.exit_code == 1
    assert said.format(sack=sack) in found.stdout
    assert "entries and 4 units." in found.stdout
    assert "The book is sound." not in found.stdout

"""What the tests of sending share: a pack of 99 bags, and people who sign in over a wire."""

from collections.abc import Callable, Iterator

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api
from tests.makers import furnish, pack, receive, roast, sack_codes
from tests.serving import Wire, served


@pytest.fixture
def roasts(api: Api, book_is_sound: Callable[[], None]) -> Iterator[list[str]]:
    """Two released roasts of 51 kg in a roastery whose book is still sound in the end."""
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-1"))
    yield [roast(api, {sack: 60}, end_kg=51)["code"] for sack in sacks]
    book_is_sound()


@pytest.fixture
def bags(api: Api, roasts: list[str]) -> str:
    """A pack of 99 bags of 250 g."""
    made = pack(
        api, {roasts[0]: 25}, bags=99, code="PK-99", best_before="2099-03-31",
        packed_at="2026-03-05T08:00:00Z",
    )  # fmt: skip
    code: str = made["code"]
    return code


@pytest.fixture
def wire(service: FastAPI, engine: Engine) -> Iterator[Wire]:
    """Ida, at the service on a real socket."""
    with writing(engine) as session:
        token = add_token(session, "ida", list(Role))
    with served(service) as address, Wire(address, token) as line:
        yield line

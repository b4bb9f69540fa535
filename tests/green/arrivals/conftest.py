"""What the tests of arrivals share: people over a wire, and a count of statements."""

from collections.abc import Callable, Iterator

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, event

from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.serving import Wire, served


@pytest.fixture
def wire(service: FastAPI, engine: Engine) -> Iterator[Wire]:
    """Ida, at the service on a real socket."""
    with writing(engine) as session:
        token = add_token(session, "ida", list(Role))
    with served(service) as address, Wire(address, token) as line:
        yield line


@pytest.fixture
def statements(engine: Engine) -> Iterator[Callable[[], int]]:
    """Count the statements that went to the database so far."""
    sent: list[str] = []

    def note(_conn: object, _cursor: object, statement: str, *_: object) -> None:
        sent.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    yield lambda: len(sent)
    event.remove(engine, "before_cursor_execute", note)

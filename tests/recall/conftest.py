"""Somebody who signs in over a wire, so that people can act at the same moment."""

from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

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

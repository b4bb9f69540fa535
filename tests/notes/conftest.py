"""What the tests of the notes ask for."""

import json
from typing import Any

import pytest
from fastapi import FastAPI

from app.settings import Settings


@pytest.fixture
def settings(database_url: str) -> Settings:
    """The roastery of the notes has set nothing: its lots wait on hold when they come."""
    return Settings(database_url=database_url, _env_file=None)


@pytest.fixture(scope="session")
def document(built: FastAPI) -> dict[str, Any]:
    """The service's OpenAPI document as a client receives it."""
    received: dict[str, Any] = json.loads(json.dumps(built.openapi()))
    return received

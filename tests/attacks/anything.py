"""Any input at all: Schemathesis makes up requests from the document of the API and sends them.

No answer may be a 500, and each is as the document says. The book is that of the notes, so that
there is something of everything.
"""

import json
import os
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final, NamedTuple

from sqlalchemy import select
from sqlmodel import col

from app.ledger.checks import check_book
from app.ledger.tables import Unit
from app.main import create_app
from app.settings import Settings
from app.shared.db import reading, writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.notes.story import tell
from tests.serving import served

CHECKS: Final = (
    "not_a_server_error", "status_code_conformance", "content_type_conformance",
    "response_headers_conformance", "response_schema_conformance",
)  # fmt: skip
_CHECKOUT: Final = Path(__file__).resolve().parents[2]


class Found(NamedTuple):
    """What came of it."""

    ended_with: int
    said: str
    differs: list[str]
    """What the book's check of itself found afterwards."""


def throw_anything(
    url: str, *, examples: int, phases: str, operations: str = "", seed: int = 1
) -> Found:
    """Send so many made up requests to each operation of a filled book."""
    settings = Settings(
        database_url=url, hold_on_arrival=False, token_requests_a_minute=10_000_000,
        _env_file=None,
    )  # fmt: skip
    service = create_app(settings)
    for _ in tell(service):
        pass
    with writing(service.state.engine) as session:
        token = add_token(session, "anything", [Role.ADMIN])
        codes = list(session.scalars(select(col(Unit.code)).order_by(col(Unit.id)).limit(60)))
    service.openapi()  # made once and kept: whoever asks for it gives up after ten seconds
    with TemporaryDirectory(prefix="jutebook-anything-") as folder, served(service) as address:
        known = Path(folder) / "known.json"
        numbers = [str(number) for number in range(1, 9)]
        known.write_text(json.dumps({"code": codes, "number": numbers, "name": numbers}))
        done = subprocess.run(  # noqa: S603 - our own words
            [
                Path(sys.executable).with_name("schemathesis"), "run",
                f"{address}/api/openapi.json", "--header", f"Authorization: Bearer {token}",
                "--max-examples", str(examples), "--phases", phases, "--seed", str(seed),
                "--checks", ",".join(CHECKS), "--continue-on-failure", "--no-color",
                "--request-timeout", "60",
                *(["--include-path-regex", operations] if operations else []),
            ],
            cwd=folder,
            env=os.environ | {
                "JUTEBOOK_KNOWN": str(known),
                "SCHEMATHESIS_HOOKS": "tests.attacks.hooks",
                "PYTHONPATH": str(_CHECKOUT),
            },
            capture_output=True,
            text=True,
            check=False,
        )  # fmt: skip
    with reading(service.state.engine) as session:
        differs = list(check_book(session))
    service.state.engine.dispose()
    return Found(done.returncode, done.stdout + done.stderr, differs)

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

from app.ledger.checks import check_book
from app.main import create_app
from app.settings import Settings
from app.shared.db import reading, writing
from app.shared.sign_in import add_token
from app.shared.staff import Role, permissions_of
from tests.api import Api
from tests.attacks.known import Known, what_is_there
from tests.notes.story import tell
from tests.serving import served

CHECKS: Final = (
    "not_a_server_error", "status_code_conformance", "content_type_conformance",
    "response_headers_conformance", "response_schema_conformance", "negative_data_rejection",
    "positive_data_acceptance", "missing_required_header", "unsupported_method",
    "allow_header_conformance", "ignored_auth", "within_permissions",
)  # fmt: skip
_CHECKOUT: Final = Path(__file__).resolve().parents[2]


class Found(NamedTuple):
    """What came of it."""

    ended_with: int
    said: str
    differs: list[str]
    """What the book's check of itself found afterwards."""
    answered: dict[str, dict[str, int]]
    """How often each operation answered with which status."""

    @property
    def sent(self) -> int:
        """How many requests were answered."""
        return sum(times for each in self.answered.values() for times in each.values())

    @property
    def never_done(self) -> list[str]:
        """Name the operations that refused every request, in their order."""
        return sorted(
            operation
            for operation, statuses in self.answered.items()
            if not any(status.startswith("2") for status in statuses)
        )


def throw_anything(
    url: str, *, examples: int, phases: str, operations: str = "", seed: int = 1,
    role: Role = Role.ADMIN,
) -> Found:  # fmt: skip
    """Send so many made up requests to each operation of a filled book, as somebody of a role."""
    settings = Settings(
        database_url=url, hold_on_arrival=False, token_requests_a_minute=10_000_000,
        _env_file=None,
    )  # fmt: skip
    service = create_app(settings)
    with writing(service.state.engine) as session:
        token = add_token(session, "anything", [role])
        # Some lists are an administrator's alone to read.
        reader = Api(service, add_token(session, "reader", [Role.ADMIN]))
    known = what_is_there(reader, service.openapi(), tell(service))
    reader.close()
    with TemporaryDirectory(prefix="jutebook-anything-") as folder, served(service) as address:
        done, answered = _run(
            address, Path(folder), known, role,
            "--header", f"Authorization: Bearer {token}",
            "--max-examples", str(examples), "--phases", phases, "--seed", str(seed),
            *(["--include-path-regex", operations] if operations else []),
        )  # fmt: skip
    with reading(service.state.engine) as session:
        differs = list(check_book(session))
    service.state.engine.dispose()
    return Found(done.returncode, done.stdout + done.stderr, differs, answered)


def _run(
    address: str, folder: Path, known: Known, role: Role, *asked: str
) -> tuple[subprocess.CompletedProcess[str], dict[str, dict[str, int]]]:
    """Run Schemathesis with what it is to know; returns how it ended and what was answered."""
    there, answered = folder / "known.json", folder / "answered.json"
    there.write_text(json.dumps(known._asdict(), default=float))
    done = subprocess.run(  # noqa: S603 - our own words
        [
            Path(sys.executable).with_name("schemathesis"), "run", f"{address}/api/openapi.json",
            "--checks", ",".join(CHECKS), "--continue-on-failure", "--no-color",
            "--request-timeout", "60", *asked,
        ],
        cwd=folder,
        env=os.environ | {
            "JUTEBOOK_KNOWN": str(there),
            "JUTEBOOK_ANSWERED": str(answered),
            "JUTEBOOK_MAY": json.dumps(sorted(permissions_of([role]))),
            "SCHEMATHESIS_HOOKS": "tests.attacks.hooks",
            "PYTHONPATH": str(_CHECKOUT),
        },
        capture_output=True,
        text=True,
        check=False,
    )  # fmt: skip
    return done, json.loads(answered.read_text()) if answered.exists() else {}

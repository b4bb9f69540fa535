"""What is generated of the notes: the document, the table of roles, the catalogue of problems."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fastapi import FastAPI

from app.main import create_app
from app.settings import Settings
from app.shared.kinds import KINDS
from app.shared.staff import GRANTS, Permission, Role
from tests.notes.pages import FOLDER

RENEW = "python -m tests.notes.renew"
"""The one command that renews all that is generated."""

DOCUMENT = FOLDER / "openapi.json"
README = FOLDER / "README.md"
PROBLEMS = FOLDER / "problems.md"

_BEGIN, _END = "<!-- generated: begin -->\n", "<!-- generated: end -->\n"
_INSIDE_ANSWERS = {
    Permission.PRICES: "`cost_per_kg` and `currency` of a lot, the price of a contract"
}
"""Permissions that open a part of an answer rather than an operation."""


def document_of(service: FastAPI) -> str:
    """Write the service's OpenAPI document as the notes keep it."""
    return json.dumps(service.openapi(), indent=2, sort_keys=True, ensure_ascii=False) + "\n"


def service_without_book(folder: Path) -> FastAPI:
    """Build the service for its description alone; it makes no table in its database."""
    url = f"sqlite:///{folder / 'unused.db'}"
    return create_app(Settings(database_url=url, _env_file=None))


def generated_part(page: Path) -> str:
    """Read what stands between the two marks of a page."""
    return page.read_text(encoding="utf-8").partition(_BEGIN)[2].partition(_END)[0]


def replace_generated_part(page: Path, table: str) -> None:
    before, _, rest = page.read_text(encoding="utf-8").partition(_BEGIN)
    after = rest.partition(_END)[2]
    page.write_text(f"{before}{_BEGIN}{table}{_END}{after}", encoding="utf-8")


def roles_table(document: dict[str, Any]) -> str:
    """Write which role may do what, with the operations behind each permission."""
    rows = [
        ["permission", "what it opens", *Role],
        ["---"] * (2 + len(Role)),
        *(
            [f"`{permission}`", _opens(document, permission)]
            + ["yes" if permission in GRANTS[role] else "" for role in Role]
            for permission in Permission
        ),
    ]
    return _table(rows)


def _opens(document: dict[str, Any], permission: Permission) -> str:
    if permission in _INSIDE_ANSWERS:
        return _INSIDE_ANSWERS[permission]
    opened = [
        f"`{method.upper()} {path.removeprefix('/api/v1')}`"
        for path, operations in document["paths"].items()
        for method, operation in operations.items()
        if operation.get("security") == [{"HTTPBearer": [permission]}]
        and not (permission is Permission.READ and method == "get")
    ]
    return ", ".join(["every GET"] * (permission is Permission.READ) + sorted(opened))


def problems_table() -> str:
    """Write every kind of problem with its status, its title and what to do about it."""
    rows = [["type", "status", "title", "what it means"], ["---"] * 4]
    for slug, kind in sorted(KINDS.items()):
        rows.append([f"`/problems/{slug}`", str(kind.status), kind.title, kind.meaning])
    return _table(rows)


def _table(rows: list[list[str]]) -> str:
    return "".join(f"| {' | '.join(cells)} |\n" for cells in rows)


GENERATED: dict[Path, Callable[[FastAPI], str]] = {
    README: lambda service: roles_table(service.openapi()),
    PROBLEMS: lambda _: problems_table(),
}
"""The pages with a generated part, and what makes it."""

"""The administrator's desk: what the roastery has set, and how the service is."""

import platform
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from pydantic.fields import FieldInfo
from sqlalchemy import Engine, func, make_url, select, text
from sqlmodel import Session, col

from app import __version__
from app.ledger.checks import newest_check
from app.ledger.journal.reading import Head, head
from app.ledger.tables import BookCheck, Unit
from app.settings import Settings
from app.shared.db import answer_of, reading
from app.shared.staff import Permission
from app.shared.times import now
from app.web.backups import backed_up
from app.web.desk import Desk, may
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_

router = page_router()

TASKS = (
    Task("/settings", N_("Settings"), Room.OFFICE, Permission.ADMIN),
    Task("/health", N_("How the service is"), Room.OFFICE, Permission.ADMIN),
)

Administrator = Annotated[Desk, may(Permission.ADMIN)]
_ADDRESSES: Final = frozenset({"database_url", "read_database_url"})
"""Settings that may hold a password."""


class Setting(NamedTuple):
    """One thing that a roastery can set."""

    variable: str
    value: str
    default: str
    said: bool
    """Whether the environment said it."""
    meaning: str


@router.get("/settings")
def show_settings(desk: Administrator) -> Response:
    """Show every setting with its value and what it means: they are set where the service runs."""
    return desk.show("settings.html", settings=told_settings(desk.settings))


def told_settings(settings: Settings) -> list[Setting]:
    """Say of every setting what it is, what it would be, and what it means."""
    return [
        Setting(
            variable=f"JUTEBOOK_{name.upper()}",
            value=_shown(name, getattr(settings, name)),
            default=_shown(name, field.get_default(call_default_factory=True)),
            said=name in settings.model_fields_set,
            meaning=meaning_of(field),
        )
        for name, field in Settings.model_fields.items()
    ]


def meaning_of(field: FieldInfo) -> str:
    """Say in one line what a setting means, with what is typed as it stands between backticks.

    The catalogue has its words.
    """
    return " ".join((field.description or "").split())


def _shown(name: str, value: Any) -> str:  # noqa: ANN401 - of any setting
    if value is None:
        return ""
    if name in _ADDRESSES:
        return make_url(value).render_as_string(hide_password=True)
    if isinstance(value, tuple | frozenset | list | set):
        return ", ".join(str(each) for each in value)
    if isinstance(value, dict):
        return ", ".join(f"{key}: {said}" for key, said in value.items())
    # As it is written in the environment.
    return str(value).lower() if isinstance(value, bool) else str(value)


class Base(NamedTuple):
    """A database as it is."""

    kind: str
    version: str
    schema: str
    head: Head
    units: int
    bytes: int | None
    checked: BookCheck | None
    """When the book was checked last."""


@router.get("/health")
def show_health(desk: Administrator) -> Response:
    """Show versions, databases, the last check, and how far the replica is behind."""
    state = desk.request.app.state
    has_replica = state.read_engine is not state.engine
    base = answer_of(state.engine, _base)
    replica = answer_of(state.read_engine, _base) if has_replica else None
    there = base or replica
    checked = there.checked if there else None
    return desk.show(
        "health.html", version=__version__, python=platform.python_version(), base=base,
        has_replica=has_replica, replica=replica,
        # It may have got more since the database was asked.
        behind=max(0, base.head.entry - replica.head.entry) if base and replica else 0,
        checked=checked, days=(now() - checked.checked_at).days if checked else 0,
        since=there.head.entry - checked.entries if there and checked else 0,
        **backed_up(desk),
    )  # fmt: skip


def _base(engine: Engine) -> Base:
    with reading(engine) as session:
        kind = engine.dialect.name
        asked = "SELECT version()" if kind == "postgresql" else "SELECT sqlite_version()"
        return Base(
            kind={"postgresql": "PostgreSQL", "sqlite": "SQLite"}[kind],
            version=str(session.scalar(text(asked))).split(" on ")[0].removeprefix("PostgreSQL "),
            schema=str(session.scalar(text("SELECT version_num FROM alembic_version"))),
            head=head(session),
            units=session.scalar(select(func.count(col(Unit.id)))) or 0,
            bytes=_bytes(session, kind),
            checked=newest_check(session),
        )


def _bytes(session: Session, kind: str) -> int | None:
    if kind == "postgresql":
        size = session.scalar(text("SELECT pg_database_size(current_database())"))
    else:
        size = session.scalar(
            text("SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()")
        )
    return int(size) if size is not None else None

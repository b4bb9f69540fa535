"""The administrator's desk: backups that were made, and one made now."""

from datetime import timedelta
from decimal import Decimal
from typing import Annotated, Any, Final

from anyio import CapacityLimiter, to_thread
from fastapi import Response
from pydantic import BaseModel

from app.copies.files import CopyError
from app.copies.making import Made, back_up_into_the_folder
from app.copies.queries import newest_backups, standing
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.shared.times import now
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, _, ngettext

router = page_router()

TASKS = (Task("/backups", N_("Backups"), Room.OFFICE, Permission.ADMIN),)

Administrator = Annotated[Desk, may(Permission.ADMIN)]
_LISTED: Final = 50


class BackupIn(BaseModel):
    """Nothing is asked: the button says it."""


@router.get("/backups")
def show_backups(desk: Administrator) -> Response:
    """Show which backups were made, and for how long there has been none."""
    return _page(desk, desk.blank(BackupIn))


def _page(desk: Desk, form: Form[BackupIn]) -> Response:
    backups = desk.read_beside(newest_backups, _LISTED + 1)
    return desk.show(
        "backups.html", form, **backed_up(desk), backups=backups, most=_LISTED, size=_megabytes,
        folder=desk.settings.backup_folder, hours=desk.settings.backup_hours,
    )  # fmt: skip


def backed_up(desk: Desk) -> dict[str, Any]:
    """Tell a page how long the book has gone without a backup."""
    how = desk.read_beside(standing, desk.settings)
    return {"backup": how, "backup_age": _age(now() - how.since) if how.since else ""}


@router.post("/backups")
async def make_backup(desk: Administrator) -> Response:
    """Make one now. It may take minutes: on a thread of its own, while the others serve on."""
    form = desk.sent(BackupIn)
    return await to_thread.run_sync(_make, desk, form, limiter=CapacityLimiter(1))


def _make(desk: Desk, form: Form[BackupIn]) -> Response:
    try:
        made = back_up_into_the_folder(desk.settings, desk.staff.name)
    except (CopyError, OSError) as error:
        form.refuse(Refused("backup-not-made", _why(error)))
        return _page(desk, form)
    return desk.onward("/backups", _told(made))


def _why(error: Exception) -> str:
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename or ''}: {error.strerror}."
    return str(error)


def _told(made: Made) -> str:
    said = _("%(file)s is made; the copy was read back and is whole.") % {"file": made.file.name}
    if made.unnoted:
        return f"{said} {_('That it was made could not be noted.')}"
    if made.found.differs:
        return f"{said} {_('The book itself is not sound; the copy holds it as it is.')}"
    return said


def _age(past: timedelta) -> str:
    """Say how long ago something was: in hours up to two days, then in days."""
    hours = past // timedelta(hours=1)
    if hours < 1:
        return _("less than an hour")
    if hours < 48:  # noqa: PLR2004 - two days
        return ngettext("%(number)s hour", "%(number)s hours", hours) % {"number": hours}
    return ngettext("%(number)s day", "%(number)s days", past.days) % {"number": past.days}


def _megabytes(size: int) -> Any:  # noqa: ANN401 - a number for the filter
    return Decimal(size // 100_000) / 10

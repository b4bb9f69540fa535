"""Which backups there are, and for how long there has been none."""

from datetime import datetime, timedelta
from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.copies.tables import BookBackup
from app.ledger.tables import Entry
from app.settings import Settings
from app.shared.db import AnySelect
from app.shared.times import UtcDateTime, now


class Standing(NamedTuple):
    """How long the book has gone without a backup."""

    last: BookBackup | None
    since: datetime | None
    """The last backup, or the first entry where there is none; None while nothing is booked."""
    overdue: bool


def last_safe() -> AnySelect:
    """Select when the last backup was made, or the first entry booked where there is none."""
    made = select(col(BookBackup.made_at)).order_by(col(BookBackup.id).desc()).limit(1)
    first = select(func.min(col(Entry.recorded_at)))
    return select(
        func.coalesce(made.scalar_subquery(), first.scalar_subquery(), type_=UtcDateTime()).label(
            "since"
        )
    )


def too_long(since: datetime | None, settings: Settings) -> bool:
    """Tell whether the book has gone without a backup for too long."""
    limit = settings.backup_hours
    return bool(limit and since and now() - since > timedelta(hours=limit))


def newest_backup(session: Session) -> BookBackup | None:
    """Read which backup was made last."""
    return session.scalars(select(BookBackup).order_by(col(BookBackup.id).desc()).limit(1)).first()


def standing(session: Session, settings: Settings) -> Standing:
    """Tell how long the book has gone without a backup, and whether that is too long."""
    last = newest_backup(session)
    since = last.made_at if last else session.scalar(last_safe())
    return Standing(last, since, too_long(since, settings))


def newest_backups(session: Session, most: int) -> list[BookBackup]:
    """List the backups that were made last, the newest first."""
    return [*session.scalars(select(BookBackup).order_by(col(BookBackup.id).desc()).limit(most))]

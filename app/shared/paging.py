"""Lists: a page at a time, by a cursor that inserts cannot shift.

Every list runs in id order and the cursor is the last id shown, so a row that is booked while
somebody pages through is neither shown twice nor makes another be missed. What is worked out runs
in the order of its keys instead.
"""

import base64
import binascii
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Generic, TypeVar

from fastapi import Depends, Query, Request
from pydantic import BaseModel
from sqlalchemy import Row, bindparam
from sqlmodel import Session

from app.shared.answers import Answer
from app.shared.db import AnySelect, IdColumn
from app.shared.problems import Refused

T = TypeVar("T")


@dataclass(frozen=True)
class Page:
    """Which page somebody asked for."""

    limit: int
    after: int
    latest: bool = False
    """The end of the list, the last one first: of those before `after`, where it is above zero."""


@dataclass(frozen=True)
class KeyPage:
    """Which page somebody asked for of what is worked out and has keys for ids."""

    limit: int
    after: str


class Items(BaseModel, Generic[T]):
    """A page of a list; `next` is the cursor of the following one, or null."""

    items: list[T]
    next: str | None


def _encode(last: int | str) -> str:
    return base64.urlsafe_b64encode(f"after:{last}".encode()).decode().rstrip("=")


def _said(cursor: str) -> str:
    try:
        said = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode()
    except (ValueError, binascii.Error):
        said = ""
    return said.removeprefix("after:")


def _decode(cursor: str) -> int:
    said = _said(cursor)
    after = int(said) if re.fullmatch(r"[0-9]{1,18}", said) else 0
    _refuse_foreign(cursor, after)
    return after


def _refuse_foreign(cursor: str, after: int | str) -> None:
    if cursor != _encode(after):
        raise Refused("bad-request", "The cursor is none that this service gave out.")


Limit = Annotated[int, Query(ge=1, le=500, description="How many at the most")]


# What only looks at the address is no work for another thread: hence async.
async def _asked(
    limit: Limit = 50,
    cursor: Annotated[
        str | None, Query(max_length=100, description="The `next` of the page before")
    ] = None,
) -> Page:
    return Page(limit, 0 if cursor is None else _decode(cursor))


async def _asked_by_key(
    limit: Limit = 50,
    cursor: Annotated[
        str | None, Query(max_length=2000, description="The `next` of the page before")
    ] = None,
) -> KeyPage:
    after = "" if cursor is None else _said(cursor)
    if cursor is not None:
        _refuse_foreign(cursor, after)
    return KeyPage(limit, after)


PageOf = tuple[Sequence[Mapping[str, object]], str | None]
"""The rows of a page as they are answered, and the cursor of the next."""

PageAsked = Annotated[Page, Depends(_asked)]
KeyPageAsked = Annotated[KeyPage, Depends(_asked_by_key)]


def turn_page(
    session: Session, statement: AnySelect, key: IdColumn, page: Page
) -> tuple[Sequence[Row[Any]], str | None]:
    """Read one page of `statement` in the order of `key`, which must be among its columns.

    What is asked for from its end has no cursor.
    """
    if page.latest:
        if page.after:
            statement = statement.where(key < page.after)
        return session.execute(statement.order_by(key.desc()).limit(page.limit)).all(), None
    return turn(session, paged(statement, key), key, page)


def paged(statement: AnySelect, key: IdColumn) -> AnySelect:
    """Cut a statement into pages for `turn`: a long one is worth being kept."""
    return statement.where(key > bindparam("after")).order_by(key).limit(bindparam("at_most"))


def turn(
    session: Session, statement: AnySelect, key: IdColumn, page: Page, **values: object
) -> tuple[Sequence[Row[Any]], str | None]:
    """Read one page of a `paged` statement, with values for its other parameters."""
    cut = {"after": page.after, "at_most": page.limit + 1}
    rows = session.execute(statement, {**values, **cut}).all()
    shown = rows[: page.limit]
    more = len(rows) > page.limit
    return shown, _encode(shown[-1]._mapping[key]) if more else None  # noqa: SLF001 - public despite its name


def page_by_key(found: Mapping[Any, T], page: KeyPage | Page) -> tuple[Sequence[T], str | None]:
    """Take one page of what was worked out, in the order of its keys."""
    keys = sorted(key for key in found if key > page.after)
    shown = keys[: page.limit]
    return [found[key] for key in shown], _encode(shown[-1]) if len(keys) > len(shown) else None


def _link(request: Request, following: str | None) -> dict[str, str]:
    """Name the next page in a `Link` (RFC 8288)."""
    if not following:
        return {}
    address = request.url.include_query_params(cursor=following)
    return {"Link": f'<{address.path}?{address.query}>; rel="next"'}


def computed_page(request: Request, found: object, following: str | None) -> Answer:
    """Answer a page of what was worked out, which names the next one itself."""
    return Answer(found, headers=_link(request, following))


def page_answer(
    request: Request,
    items: Sequence[Mapping[str, object]],
    following: str | None,
    more: Mapping[str, object] | None = None,
) -> Answer:
    """Answer a page, with the address of the next one as a `Link` (RFC 8288).

    `more` is what stands beside the items.
    """
    return Answer(
        {"items": items, "next": following, **(more or {})}, headers=_link(request, following)
    )

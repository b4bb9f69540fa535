"""The desk every command works at: the settings, the book, the paper, and one sentence for a slip.

What a person got wrong, or a database that is out of reach, is said in one sentence on standard
error and ends with 1; a traceback means that the program itself is at fault.
"""

import getpass
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from pydantic import ValidationError
from pydantic_settings import SettingsError
from rich.console import Console
from rich.table import Table
from sqlalchemy import Engine
from sqlalchemy.exc import ArgumentError, DBAPIError

from app.copies.files import CopyError
from app.revision import lag
from app.sense import POSTGRESQL_ADDRESS, PREFIX
from app.settings import Settings, misspelt
from app.shared.book_file import NoBookError
from app.shared.days import days_in
from app.shared.db import open_engine
from app.shared.problems import Refused

PIPED_WIDTH = 1000
"""Columns of a table that goes to a file or a pipe: nothing is folded or cut there."""


class MistakeError(Exception):
    """Something the person at the keyboard can mend, as one sentence."""


SLIPS: Final = (
    MistakeError, CopyError, Refused, NoBookError, ArgumentError, DBAPIError, OSError,
)  # fmt: skip
"""What is said in a sentence."""


def sentence(error: Exception) -> str:
    """Say what went wrong."""
    if isinstance(error, Refused):
        return error.detail
    if isinstance(error, ArgumentError):
        return (
            "The database address is none that can be used. JUTEBOOK_DATABASE_URL is "
            f"sqlite:///FILE or {POSTGRESQL_ADDRESS}."
        )
    if isinstance(error, DBAPIError) and isinstance(error.orig, NoBookError):
        error = error.orig
    if isinstance(error, NoBookError):
        return f"{error}."
    if isinstance(error, DBAPIError):
        first = (str(error.orig).strip().splitlines() or [type(error).__name__])[0]
        return f"The database did not do it: {first.strip().rstrip('.')}."
    if isinstance(error, OSError) and error.strerror:
        named = f"{error.filename}: " if error.filename else ""
        return f"{named}{error.strerror}."
    return str(error)


def unusable(setting: str, why: str) -> MistakeError:
    """Say why the value of a setting, by the name it has in `Settings`, is none."""
    return MistakeError(f"The setting {PREFIX}{setting.upper()} cannot be used: {why}.")


def read_settings() -> Settings:
    """Read the settings; a value that makes no sense is named with its variable."""
    slip = misspelt()
    if slip:
        raise MistakeError(slip)
    try:
        return Settings()
    except ValidationError as error:
        flaw = error.errors(include_url=False, include_input=False)[0]
        why = flaw["msg"].removeprefix("Value error, ")
        if not flaw["loc"]:  # of several together, which it names
            raise MistakeError(f"{why}.") from error
        raise unusable(str(flaw["loc"][0]), why) from error
    except SettingsError as error:
        raise MistakeError(f"A setting cannot be read: {error}.") from error


@contextmanager
def open_book(settings: Settings) -> Iterator[Engine]:
    """Open the database of the settings, whatever is in it, and count days as they say."""
    engine = open_engine(settings.database_url, busy_timeout_s=settings.busy_timeout_s)
    try:
        with days_in(settings.time_zone):
            yield engine
    finally:
        engine.dispose()


@contextmanager
def migrated_book(settings: Settings) -> Iterator[Engine]:
    """Open the database of the settings, if it is at the schema this program knows."""
    with open_book(settings) as engine:
        lacking = lag(engine)
        if lacking:
            raise MistakeError(lacking)
        yield engine


def who() -> str:
    """Name for the journal whoever sits at this machine."""
    try:
        name = getpass.getuser()
    except (KeyError, ImportError, OSError):
        name = "somebody"  # a container may run an account without a name
    return f"{name[:80]} at the command line"


def paper() -> Console:
    """Open standard output for tables; names are printed as they are, never read as markup."""
    width = None if sys.stdout.isatty() else PIPED_WIDTH
    return Console(width=width, markup=False, emoji=False, highlight=False)


def ruled(title: str, *columns: str) -> Table:
    """Rule a table; a column whose name ends in kg, pct or bags is set to the right."""
    table = Table(title=title, title_justify="left", title_style="bold")
    for name in columns:
        figures = name.endswith(("kg", "pct", "bags"))
        table.add_column(name, justify="right" if figures else "left", overflow="fold")
    return table


def examples(*lines: str) -> str:
    """Lay out examples for the end of a help page."""
    return "\n\n".join(["Examples:", *lines])

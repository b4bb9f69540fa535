"""The database: SQLite in one file, PostgreSQL beyond one machine, and the only place that commits.

A write transaction holds *the pen*: on SQLite `BEGIN IMMEDIATE`, on PostgreSQL an advisory
lock taken first. Each line of the journal carries the hash of the line before, so writes follow one
another anyway; taking turns at the door means no deadlock, no overdraw and no retry halfway.
"""

import json
import sqlite3
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, suppress
from functools import cache, partial
from itertools import islice
from math import ceil
from time import monotonic, sleep
from typing import Any, Concatenate, Final, ParamSpec, TypeAlias, TypeVar

from sqlalchemy import (
    ARRAY,
    BindParameter,
    ColumnElement,
    Connection,
    Engine,
    Integer,
    Select,
    SQLColumnExpression,
    Text,
    any_,
    bindparam,
    create_engine,
    event,
    func,
    make_url,
    select,
    text,
)
from sqlalchemy import Row as FoundRow
from sqlalchemy.engine.interfaces import DBAPIConnection, ExecutionContext
from sqlalchemy.exc import DBAPIError, InvalidatePoolError, OperationalError
from sqlalchemy.pool import ConnectionPoolEntry
from sqlalchemy.types import TypeEngine
from sqlmodel import Session

from app.shared.book_file import file_of, watch
from app.shared.patience import (
    GONE_AFTER_S,
    PatientConnection,
    connect_patiently,
    hurried,
    if_it_opens,
)

P = ParamSpec("P")
Row = TypeVar("Row")

AnySelect: TypeAlias = Select[*tuple[Any, ...]]
"""A statement whatever its columns."""

IdColumn: TypeAlias = SQLColumnExpression[Any]
"""A column of ids, of a table or of one of its aliases."""

_LATER_S: Final = 5
"""So much longer than the server itself works on a statement, an answer is waited for."""
_TRUSTED_S: Final = 1
"""So long a connection to a server that was in use is taken to be there still."""
_A_MOMENT_S: Final = 0.01
_STEPS: Final = 100_000
"""So many steps of SQLite's machine between two looks at the clock: some milliseconds."""

THE_PEN: Final = 0x6A757465
"""The key of the advisory lock that a write holds on PostgreSQL ("jute" in ASCII)."""


def open_engine(
    url: str,
    *,
    busy_timeout_s: int = 30,
    statement_timeout_s: int | None = None,
    gone_after_s: float = GONE_AFTER_S,
) -> Engine:
    """Open a database by its URL: `sqlite:///file` or `postgresql://…`.

    A file that is not there is not made: that is for whoever makes a book (`make_file`).
    A statement that takes longer than `statement_timeout_s` is broken off (`OperationalError`), by
    the server or, where that says nothing, soon after. A server that lets nobody in or does not
    answer what takes no time for `gone_after_s` counts as gone.
    """
    parsed = make_url(url)
    if parsed.get_backend_name() == "sqlite":
        return _open_sqlite(url, busy_timeout_s, statement_timeout_s)
    if parsed.drivername == "postgresql":
        parsed = parsed.set(drivername="postgresql+psycopg")
    engine = create_engine(
        parsed,
        pool_use_lifo=True,  # so that as few as can be lie idle
        pool_size=10,
        max_overflow=10,
        connect_args={"connect_timeout": ceil(gone_after_s)},
    )
    waits_s = max(statement_timeout_s, busy_timeout_s) + _LATER_S if statement_timeout_s else None
    connect_patiently(engine, gone_after_s, waits_s)

    @event.listens_for(engine, "connect")
    def _settle(connection: PatientConnection, _: ConnectionPoolEntry) -> None:
        with connection.hurried(), connection.cursor() as cursor:
            cursor.execute("SET timezone = 'UTC'")
            cursor.execute(f"SET lock_timeout = '{int(busy_timeout_s)}s'")
            cursor.execute(f"SET statement_timeout = '{int(statement_timeout_s or 0)}s'")
            connection.commit()

    _ask_whether_still_there(engine)
    return engine


def _ask_whether_still_there(engine: Engine) -> None:
    """Ask a connection first that nobody used for a while: its server may have gone and come back.

    Before each use, as the library would, it costs as much as a short statement.
    """

    @event.listens_for(engine, "checkin")
    def _put_back(_: object, record: ConnectionPoolEntry) -> None:
        record.info["used"] = monotonic()

    @event.listens_for(engine, "checkout")
    def _take(connection: DBAPIConnection, record: ConnectionPoolEntry, _: object) -> None:
        if monotonic() - record.info.get("used", monotonic()) < _TRUSTED_S:
            return
        try:
            with hurried(connection):
                engine.dialect.do_ping(connection)
        except engine.dialect.loaded_dbapi.Error as error:
            raise InvalidatePoolError from error


def _open_sqlite(url: str, busy_timeout_s: int, statement_timeout_s: int | None) -> Engine:
    # The driver must not begin or commit on its own: `_begin` below does.
    engine = create_engine(
        url,
        connect_args={"timeout": busy_timeout_s, "check_same_thread": False},
        pool_size=10,
        max_overflow=10,
    )

    @event.listens_for(engine, "connect")
    def _settle(connection: sqlite3.Connection, _: ConnectionPoolEntry) -> None:
        connection.isolation_level = None
        _keep_a_log(connection, busy_timeout_s)
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA cache_size = -65536")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        options = connection.get_execution_options()
        if options.get("alone", False):
            return
        writes = options.get("pen", False)
        _run_bare(connection, "BEGIN IMMEDIATE" if writes else "BEGIN")

    if statement_timeout_s:
        _break_off(engine, statement_timeout_s)
    if file := file_of(engine.url):
        watch(engine, file)
    return engine


def _keep_a_log(connection: sqlite3.Connection, busy_timeout_s: int) -> None:
    """Let a file have a log of what is written, so that reading waits for nobody.

    It is given one once and for all. Of several that do so at once SQLite turns all but one away,
    without letting them wait.
    """
    ends = monotonic() + busy_timeout_s
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode != sqlite3.SQLITE_BUSY or monotonic() > ends:
                raise
            sleep(_A_MOMENT_S)
        else:
            return


def _run_bare(connection: Connection, statement: str) -> None:
    """Run what has neither values nor rows by the driver: every transaction begins with it."""
    driver: Any = connection.connection.driver_connection
    try:
        driver.execute(statement)
    except sqlite3.Error as error:
        raise DBAPIError.instance(statement, None, error, sqlite3.Error) from error


def _break_off(engine: Engine, timeout_s: int) -> None:
    """Break off statements of SQLite that work for too long; it has no such setting of its own."""

    @event.listens_for(engine, "before_cursor_execute")
    def _hurry(
        connection: Connection,
        _c: object,
        _s: str,
        _p: object,
        context: ExecutionContext | None,
        _m: bool,
    ) -> None:
        # What is read bit by bit waits for whoever reads.
        streams = context is not None and context.execution_options.get("yield_per")
        ends = None if streams else monotonic() + timeout_s
        driver: Any = connection.connection.driver_connection
        driver.set_progress_handler(ends and (lambda: monotonic() > ends), _STEPS)


def batched(rows: Iterable[Row], size: int) -> Iterator[list[Row]]:
    """Hand out rows in batches, so that no statement outgrows what a database takes."""
    source = iter(rows)
    while some := list(islice(source, size)):
        yield some


def among(session: Session, column: IdColumn, ids: Collection[int]) -> ColumnElement[bool]:
    """Test for one of many ids with a single parameter, however many they are."""
    dialect = session.get_bind().dialect.name
    return _one_of(column, bindparam(None, _listed(dialect, ids), type_=_LISTED[dialect]))


_LISTED: Final[Mapping[str, TypeEngine[Any]]] = {
    "sqlite": Text(), "postgresql": ARRAY(Integer),
}  # fmt: skip
"""The type of the parameter that holds ids: JSON where there are no arrays.

Of the very type of ids: PostgreSQL looks through an array of another one for each row from its
beginning.
"""


def _listed(dialect: str, ids: Collection[int]) -> object:
    return list(ids) if dialect == "postgresql" else json.dumps(list(ids))


def _one_of(column: IdColumn, listed: BindParameter[Any]) -> ColumnElement[bool]:
    if isinstance(listed.type, ARRAY):
        return column == any_(listed)
    return column.in_(select(func.json_each(listed).table_valued("value").c.value))


Among: TypeAlias = Callable[[IdColumn], ColumnElement[bool]]
"""Tests for one of the ids that a statement is run over."""


_AMONG: Final[Mapping[str, Among]] = {
    dialect: partial(_one_of, listed=bindparam("ids", type_=listed))
    for dialect, listed in _LISTED.items()
}


class OverIds:
    """A statement over many ids that is put together once for each kind of database.

    Putting one together takes longer than running it. Decorates a function that gets `Among` and
    perhaps choices that change the statement, and builds it of plain columns.
    """

    def __init__(self, build: Callable[..., AnySelect]) -> None:
        """Take what builds the statement."""
        self._build = cache(build)

    def rows(
        self, session: Session, ids: Collection[int], *choices: int | None, **values: object
    ) -> Sequence[Any]:
        """Run it over these ids, with values for its other parameters; over none it finds none."""
        if not ids:
            return ()
        dialect = session.get_bind().dialect.name
        statement = self._build(_AMONG[dialect], *choices)
        listed = _listed(dialect, ids)
        return session.connection().execute(statement, {"ids": listed, **values}).all()


def next_number(session: Session, numbers: IdColumn) -> int:
    """Give the next row of a table its number: safe, since whoever writes holds the pen."""
    last: int = session.scalar(select(func.max(numbers))) or 0
    return last + 1


@contextmanager
def reading(engine: Engine) -> Iterator[Session]:
    """Read one state of the book: what others commit meanwhile is not seen."""
    with Session(engine) as session:
        if engine.dialect.name == "postgresql":
            session.connection(
                execution_options={
                    "isolation_level": "REPEATABLE READ",
                    "postgresql_readonly": True,
                }
            )
        yield session


def again_if_cut(ask: Callable[[], Row]) -> Row:
    """Ask once more where the connection was cut: its server may be back, or never have gone.

    Only what reads may be asked again. That one connection was cut says so of all the others.
    """
    try:
        return ask()
    except OperationalError as error:
        if not error.connection_invalidated:
            raise
    return ask()


def ask_in(
    opened: Callable[[], AbstractContextManager[Session]],
    query: Callable[Concatenate[Session, P], Row],
    *args: P.args,
    **kwargs: P.kwargs,
) -> Row:
    """Run a query in a session of its own, and once more where the connection was cut."""

    def ask() -> Row:
        with opened() as session:
            return query(session, *args, **kwargs)

    return again_if_cut(ask)


def answer_of(engine: Engine, ask: Callable[[Engine], Row]) -> Row | None:
    """Ask a database how it is; None where it does not answer."""
    try:
        with if_it_opens(engine):
            return again_if_cut(partial(ask, engine))
    except DBAPIError:
        return None


@contextmanager
def glancing(engine: Engine) -> Iterator[Session]:
    """Ask what one statement answers: that sees one state of the book by itself.

    To begin and to end a transaction are two ways to PostgreSQL and back.
    """
    with Session(engine) as session:
        session.connection(execution_options=_ALONE[engine.dialect.name])
        yield session


def look_up(
    engines: Sequence[Engine], statement: AnySelect, **values: object
) -> FoundRow[Any] | None:
    """Ask the first of these databases that answers for one row.

    The statement stands alone: a session and a transaction take longer than it does. And it is one
    that takes no time: a database that keeps silent for long counts as gone.
    """
    *others, last = dict.fromkeys(engines)
    for engine in others:
        with suppress(OperationalError), if_it_opens(engine):
            return again_if_cut(partial(_look_up, engine, statement, values))
    return again_if_cut(partial(_look_up, last, statement, values))


def _look_up(
    engine: Engine, statement: AnySelect, values: Mapping[str, object]
) -> FoundRow[Any] | None:
    with engine.connect() as connection:
        alone = connection.execution_options(**_ALONE[engine.dialect.name])
        with hurried(alone):
            return alone.execute(statement, values).first()


_ALONE: Final[Mapping[str, Mapping[str, Any]]] = {
    "sqlite": {"alone": True}, "postgresql": {"isolation_level": "AUTOCOMMIT"},
}  # fmt: skip


@contextmanager
def writing(engine: Engine) -> Iterator[Session]:
    """Hold the pen: all that happens inside is committed together at the end, or not at all."""
    with Session(engine, expire_on_commit=False) as session, session.begin():
        session.connection(execution_options={"pen": True})
        if engine.dialect.name == "postgresql":
            session.execute(text("SELECT pg_advisory_xact_lock(:pen)"), {"pen": THE_PEN})
        yield session

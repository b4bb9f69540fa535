"""A connection to PostgreSQL that does not wait for ever for a server that says nothing.

A server that hangs, or a network that swallows what is sent, cuts no connection: the kernel goes
on acknowledging for a process that was stopped. So the program itself keeps time. A long statement
is told from a server that hangs by knocking at the server's door meanwhile.
"""

import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from time import monotonic
from typing import Any, Final, Self
from weakref import WeakSet

import psycopg
from psycopg.abc import RV, PQGen
from psycopg.errors import ConnectionTimeout
from sqlalchemy import Connection, Engine, event
from sqlalchemy.engine.interfaces import DBAPIConnection, Dialect
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.pool import ConnectionPoolEntry

GONE_AFTER_S: Final = 5
"""So long a server may take to let somebody in before it counts as gone.

And to answer what takes no time.
"""
_KNOCK_EVERY_S: Final = 5
"""So long after it said something last a server that works on a statement is looked after."""
_KNOCK: Final = b"\0\0\0\x08\x04\xd2\x16\x2f"
"""Asks whether a server speaks TLS ("Message Formats" of the PostgreSQL manual, SSLRequest).

It answers in one byte, before it wants to know who asks and also where nobody else is let in.
"""

_OPENS_IN_S: Final = 1
"""So long a database that was silent before has time to open, while another can answer for it."""
_PORT: Final = 5432
_SILENT: Final[WeakSet[Engine]] = WeakSet()


class NoAnswerError(psycopg.OperationalError):
    """The server said nothing for longer than anybody has patience for."""


class PatientConnection(psycopg.Connection[Any]):
    """A connection that is given up, and closed, when nothing came for too long."""

    _patience_s: float | None = GONE_AFTER_S
    _short_s: float = GONE_AFTER_S
    _long_s: float | None = None

    def be_patient(self, short_s: float, long_s: float | None) -> Self:
        """Tell how long to wait for what takes no time, and for all else; None: for ever."""
        self._short_s, self._long_s = short_s, long_s
        self._patience_s = long_s
        return self

    @contextmanager
    def hurried(self) -> Iterator[None]:
        """Ask what takes no time: silence comes from a server that hangs."""
        self._patience_s = self._short_s
        try:
            yield
        finally:
            self._patience_s = self._long_s

    def rollback(self) -> None:
        """Undo, which takes no time however much there is to undo."""
        with self.hurried():
            super().rollback()

    def wait(self, gen: PQGen[RV], *args: Any, **kwargs: Any) -> RV:  # noqa: ANN401 - as theirs
        """Wait for an answer, as long as patience lasts."""
        if self._patience_s is None:
            return super().wait(gen, *args, **kwargs)
        try:
            patient = _while_patient(gen, self._patience_s, self._is_there)
            return super().wait(patient, *args, **kwargs)
        except NoAnswerError:
            # What it would say later would be taken for the answer to another question.
            self.close()
            raise

    def _is_there(self) -> bool:
        """Tell whether the server answers at its door; one that hangs does not.

        The server, not the one process of it that works for this connection.
        """
        return opens(self.info.hostaddr or self.info.host, self.info.port, self._short_s)


def opens(host: str, port: int, patience_s: float) -> bool:
    """Tell whether a server of PostgreSQL answers a knock; a folder is a host, as to the library.

    Where nobody listens it has gone, and where it cannot be reached nothing will come any more.
    """
    try:
        with _line(host, port, patience_s) as line:
            line.sendall(_KNOCK)
            return bool(line.recv(1))
    except OSError:
        return False


def _line(host: str, port: int, patience_s: float) -> socket.socket:
    if not host.startswith("/"):
        return socket.create_connection((host, port), patience_s)
    line = socket.socket(socket.AF_UNIX)
    line.settimeout(patience_s)
    try:
        line.connect(f"{host}/.s.PGSQL.{port}")
    except OSError:
        line.close()
        raise
    return line


def _while_patient(gen: PQGen[RV], patience_s: float, is_there: Callable[[], bool]) -> PQGen[RV]:
    """Pass on what is ready. The clock is looked at where nothing was, ten times a second."""
    heard = knocked = monotonic()
    gone = False
    try:
        wanted = next(gen)
        while True:
            ready = yield wanted
            if ready:
                # Also what came while nobody opened.
                heard, gone = monotonic(), False
            elif gone or monotonic() - heard > patience_s:
                raise NoAnswerError(f"the server said nothing for {monotonic() - heard:.0f} s")
            elif monotonic() - max(heard, knocked) > _KNOCK_EVERY_S:
                gone, knocked = not is_there(), monotonic()
            wanted = gen.send(ready)
    except StopIteration as ended:
        answer: RV = ended.value
        return answer


def connect_patiently(engine: Engine, short_s: float, long_s: float | None) -> None:
    """Let an engine of PostgreSQL open connections of this kind."""

    @event.listens_for(engine, "do_connect")
    def _connect(
        _dialect: Dialect,
        _record: ConnectionPoolEntry,
        args: tuple[Any, ...],
        named: dict[str, Any],
    ) -> PatientConnection:
        return PatientConnection.connect(*args, **named).be_patient(short_s, long_s)


@contextmanager
def hurried(connection: Connection | DBAPIConnection) -> Iterator[None]:
    """Ask a database what takes no time; one that says nothing counts as gone."""
    driver: object = connection
    if isinstance(connection, Connection):
        driver = connection.connection.driver_connection
    if not isinstance(driver, PatientConnection):
        yield
        return
    with driver.hurried():
        yield


def was_silent(error: DBAPIError) -> bool:
    """Tell whether a server neither answered nor said that it would not."""
    return isinstance(error.orig, NoAnswerError | ConnectionTimeout)


@contextmanager
def if_it_opens(engine: Engine) -> Iterator[None]:
    """Ask a database that others can answer for.

    Where it was silent the last time it is asked only when it opens at a knock, so that not every
    question waits for it.
    """
    if engine in _SILENT and not _opens(engine):
        raise OperationalError(None, None, NoAnswerError("the server still says nothing"))
    try:
        yield
    except OperationalError as error:
        if was_silent(error):
            _SILENT.add(engine)
        raise
    _SILENT.discard(engine)


def _opens(engine: Engine) -> bool:
    """Knock at every address of a database; one that only the library knows counts as open."""
    named = engine.dialect.create_connect_args(engine.url)[1]
    hosts = str(named.get("host", "")).split(",")
    ports = str(named.get("port") or _PORT).split(",")
    each = zip(hosts, ports if len(ports) == len(hosts) else ports[:1] * len(hosts), strict=True)
    return any(not host or opens(host, int(port or _PORT), _OPENS_IN_S) for host, port in each)

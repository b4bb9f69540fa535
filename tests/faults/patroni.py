"""Three servers of PostgreSQL that Patroni watches: the first dies while clients write.

What is needed, by the names of Debian's packages: `patroni`, `etcd-server` and PostgreSQL. A server
dies whole, its Patroni and every process of its PostgreSQL at once, and comes back later. Clients
do as they are told: 503 is sent again with its key until it is booked.
"""

import json
import os
import secrets
import shutil
import signal
import subprocess
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Self

import httpx
import psycopg

from tests.faults.disks import UnavailableError
from tests.faults.killing import House, Tally, acts, examine
from tests.makers import make_book
from tests.postgres import OWNER, Account, binaries_of_the_machine, free_port
from tests.serving import ServiceProcess, Wire

NODES: Final = ("anna", "berta", "carla")
DYNAMIC: Final = {
    "ttl": 20,
    "loop_wait": 5,
    "retry_timeout": 5,
    "synchronous_mode": True,
    "synchronous_mode_strict": True,
    "postgresql": {
        "use_pg_rewind": True,
        "parameters": {"synchronous_commit": "on", "shared_buffers": "32MB"},
    },
}
"""What the notes describe: no write is acknowledged before a second server has it on disk."""
_CLIENTS: Final = 8
_PATIENCE_S: Final = 300
_LOOK_EVERY_S: Final = 0.5


@dataclass
class Watched:
    """What came of it."""

    tally: Tally = field(default_factory=Tally)
    leaders: list[str] = field(default_factory=list)
    """Who led, in turn."""
    gaps_s: list[float] = field(default_factory=list)
    """How long nothing was booked each time."""
    statuses: Counter[str] = field(default_factory=Counter)
    """Of all answers, those to what was sent again included."""
    replayed: int = 0
    """Answered 503, and booked all the same, as its key showed."""


class Node:
    """One server: a Patroni with its PostgreSQL."""

    def __init__(self, cluster: "Cluster", name: str) -> None:
        self._cluster = cluster
        self._folder = cluster.folder / name
        self._folder.mkdir()
        self.name = name
        self.port, self._door = free_port(), free_port()
        self._process: subprocess.Popen[bytes] | None = None
        self._configuration = self._folder / "patroni.json"

    def start(self) -> None:
        self._configuration.write_text(json.dumps(self._described(), indent=1))
        self._cluster.account.own(self._folder)
        self._process = self._cluster.run("patroni", str(self._configuration), log=self.name)

    def _described(self) -> dict[str, Any]:
        """Make the file that Patroni reads; JSON is YAML."""
        binaries = self._cluster.binaries
        return {
            "scope": "jutebook",
            "name": self.name,
            "restapi": {
                "listen": f"127.0.0.1:{self._door}",
                "connect_address": f"127.0.0.1:{self._door}",
            },
            "etcd3": {"hosts": f"127.0.0.1:{self._cluster.etcd_port}"},
            "bootstrap": {
                "dcs": DYNAMIC,
                "initdb": [{"encoding": "UTF8"}, {"locale": "C"}],
            },
            "postgresql": {
                "listen": f"127.0.0.1:{self.port}",
                "connect_address": f"127.0.0.1:{self.port}",
                "data_dir": str(self._folder / "data"),
                "bin_dir": str(binaries),
                "pgpass": str(self._folder / "pgpass"),
                "authentication": {
                    who: {"username": name, "password": self._cluster.password}
                    for who, name in (("superuser", "postgres"), ("replication", "follower"))
                },
                "pg_hba": [
                    "host replication follower 127.0.0.1/32 scram-sha-256",
                    "host all all 127.0.0.1/32 scram-sha-256",
                ],
                "parameters": {"unix_socket_directories": str(self._folder)},
            },
        }

    def ask(self) -> dict[str, Any]:
        """Ask Patroni how it stands; empty while it does not answer."""
        try:
            answer = httpx.get(f"http://127.0.0.1:{self._door}/patroni", trust_env=False)
        except httpx.HTTPError:
            return {}
        told: dict[str, Any] = answer.json()
        return told

    def die(self) -> None:
        """End Patroni and each process of PostgreSQL at once, as when the power goes."""
        if self._process is None:
            return
        postmaster = self._folder / "data" / "postmaster.pid"
        doomed = [self._process.pid]
        if postmaster.exists():
            first = int(postmaster.read_text().split()[0])
            doomed += [first, *_children(first)]
        for number in doomed:
            try:
                os.kill(number, signal.SIGKILL)
            except ProcessLookupError:
                continue
        self._process.wait()
        self._process = None

    @property
    def lives(self) -> bool:
        return self._process is not None


def _children(of: int) -> Iterator[int]:
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            name, _, rest = status.read_text().rpartition(")")
        except OSError:
            continue
        if int(rest.split()[1]) == of:
            yield int(name.split()[0])


class Cluster:
    """An etcd of one member and three servers, on loopback."""

    def __init__(self) -> None:
        self.account = Account.fit_for_a_server()
        self.password = secrets.token_hex(16)
        self.etcd_port = free_port()
        missing = [name for name in ("patroni", "etcd") if shutil.which(name) is None]
        machines = list(binaries_of_the_machine())
        if missing or not machines:
            raise UnavailableError(
                "it needs Debian's packages patroni, etcd-server and postgresql; "
                f"missing: {', '.join(missing) or 'PostgreSQL'}"
            )
        self.binaries = machines[0]

    def __enter__(self) -> Self:
        self.folder = Path(tempfile.mkdtemp(prefix="jutebook-patroni-"))
        self.account.own(self.folder)
        with ExitStack() as stack:
            stack.callback(shutil.rmtree, self.folder, ignore_errors=True)
            self._start_etcd(stack)
            self.nodes = [Node(self, name) for name in NODES]
            for node in self.nodes:
                stack.callback(node.die)
                node.start()
            self.wait_until_whole()
            self._create_owner()
            self._leave = stack.pop_all()
        return self

    def __exit__(self, *_: object) -> None:
        self._leave.close()

    def _start_etcd(self, stack: ExitStack) -> None:
        peer = free_port()
        here = f"http://127.0.0.1:{self.etcd_port}"
        etcd = self.run(
            "etcd", "--name=one", f"--data-dir={self.folder / 'etcd'}",
            f"--listen-client-urls={here}", f"--advertise-client-urls={here}",
            f"--listen-peer-urls=http://127.0.0.1:{peer}",
            f"--initial-advertise-peer-urls=http://127.0.0.1:{peer}",
            f"--initial-cluster=one=http://127.0.0.1:{peer}",
            log="etcd",
        )  # fmt: skip
        stack.callback(etcd.wait)
        stack.callback(etcd.kill)

    def run(self, *command: str, log: str) -> subprocess.Popen[bytes]:
        with (self.folder / f"{log}.log").open("ab") as said:
            return subprocess.Popen(  # noqa: S603 - our own words
                command,
                cwd=self.folder,
                env={**os.environ, "HOME": str(self.folder)},
                stdout=said,
                stderr=said,
                user=self.account.uid,
                group=self.account.gid,
                extra_groups=None if self.account.uid is None else [],
            )

    def _create_owner(self) -> None:
        with psycopg.connect(
            host=",".join("127.0.0.1" for _ in self.nodes),
            port=",".join(str(node.port) for node in self.nodes),
            user="postgres", password=self.password, dbname="postgres",
            target_session_attrs="read-write", autocommit=True,
        ) as connection:  # fmt: skip
            connection.execute(f"CREATE ROLE {OWNER} LOGIN PASSWORD '{self.password}'")
            connection.execute(f"CREATE DATABASE book OWNER {OWNER} TEMPLATE template0")

    @property
    def url(self) -> str:
        """Name all servers; whoever leads takes the connection."""
        hosts = "&".join(f"host=127.0.0.1:{node.port}" for node in self.nodes)
        return f"postgresql://{OWNER}:{self.password}@/book?{hosts}&target_session_attrs=read-write"

    def leader(self) -> Node | None:
        return next((n for n in self.nodes if n.lives and n.ask().get("role") in _LEADING), None)

    def wait_until_whole(self) -> Node:
        """Wait until one leads and the others follow it, one of them synchronously."""
        ends = time.monotonic() + _PATIENCE_S
        while time.monotonic() < ends:
            told = [node.ask() for node in self.nodes]
            leader = self.leader()
            following = [each for of in told for each in of.get("replication", [])]
            states = {each.get("sync_state") for each in following if each["state"] == "streaming"}
            if leader and len(following) == len(NODES) - 1 and "sync" in states:
                return leader
            time.sleep(_LOOK_EVERY_S)
        logs = "".join(each.read_text()[-1500:] for each in self.folder.glob("*.log"))
        raise UnavailableError(f"the servers did not find each other:\n{logs}")


_LEADING: Final = {"master", "primary"}


class _Writers:
    """Clients who write, and write again what was answered 503, until they are told to stop."""

    def __init__(self, house: House, address: str, found: Watched) -> None:
        self._house, self._address, self._found = house, address, found
        self._enough = threading.Event()
        self._booked = threading.Semaphore(0)

    @contextmanager
    def at_work(self) -> Iterator[Self]:
        with ThreadPoolExecutor(_CLIENTS) as pool:
            all_of_them = [pool.submit(self._write, number) for number in range(_CLIENTS)]
            try:
                yield self
            finally:
                self._enough.set()
        for each in all_of_them:
            each.result()

    def wait_for(self, booked: int) -> None:
        """Wait until so many more were booked from now on, and what was on its way came in."""
        time.sleep(_LOOK_EVERY_S)
        while self._booked.acquire(blocking=False):
            pass
        for _ in range(booked):
            if not self._booked.acquire(timeout=_PATIENCE_S):
                raise UnavailableError("nothing is booked any more")

    def _write(self, number: int) -> None:
        with Wire(self._address, self._house.token) as wire:
            for write in acts(self._house, f"c{number}", number):
                if self._enough.is_set():
                    return
                refused = False
                while True:
                    answer = wire.post(write.path, write.body, write.key)
                    self._found.statuses[str(answer.status_code)] += 1
                    if answer.status_code != 503:
                        break
                    refused = True
                    time.sleep(float(answer.headers["retry-after"]))
                if answer.is_success:
                    self._found.tally.acknowledged[write.key] = (write, answer.content)
                    self._found.replayed += refused and "idempotency-replayed" in answer.headers
                    self._booked.release()
                elif answer.status_code != 409:
                    self._found.tally.flaws.append(
                        f"{write} was answered {answer.status_code}: {answer.text}"
                    )


def lose_leaders(rounds: int) -> Iterator[Watched]:
    """Let the leader die so many times; hands out what was found after each."""
    found = Watched()
    with Cluster() as cluster:
        make_book(cluster.url)
        house = House(cluster.url, busy_timeout_s=5)
        with (
            ServiceProcess(house.settings) as server,
            _Writers(house, server.address, found).at_work() as writers,
        ):
            for _ in range(rounds):
                leader = cluster.wait_until_whole()
                found.leaders.append(leader.name)
                writers.wait_for(50)
                leader.die()
                gone = time.monotonic()
                writers.wait_for(1)
                found.gaps_s.append(time.monotonic() - gone)
                writers.wait_for(50)
                leader.start()
                yield found
            found.leaders.append(cluster.wait_until_whole().name)
        found.tally.flaws += examine(house, found.tally)
    yield found

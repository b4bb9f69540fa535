"""Files of copies: they appear whole or not at all, with a checksum beside them."""

import hashlib
import os
import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path


class CopyError(Exception):
    """Why there is no copy, or why it cannot be used, as one sentence."""


@contextmanager
def beside(file: Path) -> Iterator[Path]:
    """Make an empty file beside the one that is wanted, for this person's eyes only."""
    part = file.absolute().with_name(f".{file.name}.{secrets.token_hex(4)}.part")
    os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    try:
        yield part
    finally:
        part.unlink(missing_ok=True)


@contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Let one at a time copy into a folder, of whichever process of this machine.

    The lock is that of an empty SQLite file: it ends with the process that holds it, everywhere.
    """
    lock = sqlite3.connect(folder / ".jutebook-lock", timeout=0, isolation_level=None)
    with closing(lock):
        try:
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode == sqlite3.SQLITE_BUSY:
                raise CopyError("A backup is being made right now. Wait for that one.") from error
            raise CopyError(f"{folder} cannot be written: {error}.") from error
        yield


def publish(part: Path, file: Path) -> str:
    """Let the verified copy appear under its name, on the disk before it is spoken of.

    Returns its checksum, which stands in the file beside it.
    """
    _sync(part)
    sha256 = digest(part)
    # Were the power cut between the next lines, a missing checksum is better than a wrong one.
    seal_of(file).unlink(missing_ok=True)
    part.replace(file)
    seal_of(file).write_text(f"{sha256}  {file.name}\n", encoding="utf-8")
    _sync(seal_of(file))
    _sync(file.absolute().parent)
    return sha256


def seal_of(file: Path) -> Path:
    """Name the file that holds the checksum of a copy."""
    return file.with_name(f"{file.name}.sha256")


def checksum_beside(file: Path) -> str | None:
    """Read the checksum that was written beside a copy."""
    seal = seal_of(file)
    return seal.read_text(encoding="utf-8").split(" ")[0].strip() if seal.exists() else None


def digest(file: Path) -> str:
    """Compute the checksum of a file."""
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def _sync(path: Path) -> None:
    if path.is_dir() and os.name == "nt":
        return  # Windows has no handle of a folder to be written out
    opened = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)

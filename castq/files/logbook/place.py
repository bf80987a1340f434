"""Where a log book is: a file, or a PostgreSQL database by URL; refused before anything is opened."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from castq.files.logbook.errors import GO_BACK, StorageError, storage_error

if TYPE_CHECKING:
    from sqlalchemy import URL

_MAGIC = b"SQLite format 3\x00"
_MOUNTS = Path("/proc/self/mountinfo")
# File systems of other machines: SQLite's write-ahead log needs all programs on one.
_NETWORK = {"nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ceph", "lustre", "fuse.sshfs", "fuse.glusterfs"}


@dataclass(frozen=True, slots=True)
class Place:
    """Where a log book is.

    Attributes
    ----------
    name : str
        For people; never holds a password.
    path : Path or None
        The file, if it is one.
    url : URL or None
        The database, if it is one.
    """

    name: str
    path: Path | None = None
    url: URL | None = None


def place_of(url_or_path: str | Path) -> Place:
    """Return where a log book is.

    Parameters
    ----------
    url_or_path : str or Path
        A file, or `postgresql://user@host/database`.

    Raises
    ------
    StorageError
        If it cannot be read, or is a database of another make.
    """
    text = str(url_or_path)
    if isinstance(url_or_path, Path) or "://" not in text:
        return Place(text, path=_resolved(text))
    from sqlalchemy.exc import ArgumentError

    scheme = text.partition("://")[0]
    try:
        return _database(text)
    except (ArgumentError, ValueError):
        raise storage_error(f"{scheme}://...", "is no address of a database", "write postgresql://user@host/database"
                            ) from None  # fmt: skip


def _database(text: str) -> Place:
    from sqlalchemy import make_url

    url = make_url(text)
    make = url.get_backend_name()
    if make == "sqlite" and url.database:
        return Place(url.database, path=_resolved(url.database))
    if make not in {"postgresql", "postgres"}:
        raise storage_error(f"{make}://...", "is a database castq does not keep a log book in",
                            "name a file, or postgresql://user@host/database")  # fmt: skip
    who = f"{url.username}@" if url.username else ""
    where = f"{url.host or ''}{f':{url.port}' if url.port else ''}"
    return Place(f"postgresql://{who}{where}/{url.database or ''}", url=url.set(drivername="postgresql+psycopg"))


def _resolved(text: str) -> Path:
    try:
        return Path(text).resolve()
    except (OSError, ValueError, RuntimeError):
        raise storage_error(text, "is not a file name", "choose another name") from None


def journal_of(path: Path) -> Path:
    """Return the file that SQLite keeps beside a book while it is in use."""
    return path.with_name(path.name + "-wal")


def check_file(path: Path, create: bool) -> bool:
    """Return True when the book is there and False when it is to be made.

    Parameters
    ----------
    path : Path
        The file.
    create : bool
        True when it may be made.

    Raises
    ------
    StorageError
        If it is no book, or cannot be made there.
    """
    try:
        if path.exists():
            _check_kind(path)
            return True
        _check_absent(path, create)
    except OSError as error:
        raise storage_error(str(path), f"cannot be read ({error.strerror})", "check the path and the rights") from None
    return False


def _check_kind(path: Path) -> None:
    if not path.is_file():
        raise storage_error(str(path), "is not a file", "name the file of a log book")
    if path.stat().st_size == 0:
        raise storage_error(str(path), "is empty: it is no log book, or has lost all its rows",
                            "go back to the last backup, or remove it to begin a new book")  # fmt: skip
    with path.open("rb") as stream:
        begin = stream.read(len(_MAGIC))
    if begin != _MAGIC:
        raise storage_error(str(path), "is not a log book", "name the file of one, or one that does not exist yet")


def _check_absent(path: Path, create: bool) -> None:
    if journal_of(path).exists():
        raise _torn(path)
    if not create:
        raise storage_error(str(path), "does not exist", "check the path")
    if not path.parent.is_dir():
        raise storage_error(str(path), f"the folder '{path.parent}' does not exist", "make it, or choose another place")
    if not os.access(path.parent, os.W_OK | os.X_OK):
        raise storage_error(str(path), f"the folder '{path.parent}' is read-only", "choose another place")


def _torn(path: Path) -> StorageError:
    journal = journal_of(path).name
    return storage_error(str(path), f"is gone, but its journal '{journal}' is still there",
                         f"put the book back beside its journal, or move the journal away and {GO_BACK}")  # fmt: skip


def is_on_network(path: Path) -> bool:
    """Return True when a file is known to lie on another machine."""
    try:
        lines = _MOUNTS.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return False
    best, kind = -1, ""
    for line in lines:
        left, _, right = line.partition(" - ")
        mounted = Path(left.split()[4].replace("\\040", " "))
        if mounted in (path, *path.parents) and len(mounted.parts) >= best:
            best, kind = len(mounted.parts), right.split()[0]
    return kind in _NETWORK

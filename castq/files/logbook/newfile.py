"""A new book in a file: made whole beside its place, then put there in one step, so that no one meets half a book."""

from __future__ import annotations

import errno
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from castq.core.clock import WallClock
from castq.files.logbook.errors import storage_error
from castq.files.logbook.migrate import NEWEST, bring_up
from castq.files.logbook.place import Place
from castq.files.logbook.store import Store

_PREFIX = ".castq-"
_ENDS = ("", "-wal", "-shm", "-journal")
_NO_LINKS = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS}


@contextmanager
def beside(path: Path) -> Iterator[Path]:
    """Give an unused name beside `path`; whatever stands there at the end is removed."""
    temporary = path.with_name(_PREFIX + secrets.token_hex(6))
    try:
        yield temporary
    finally:
        for end in _ENDS:
            temporary.with_name(temporary.name + end).unlink(missing_ok=True)


def make_tables(path: Path, name: str, clock: WallClock, to: int = NEWEST) -> None:
    """Write an empty book to a path that is not taken.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        Name for errors.
    clock : callable
        Tells the time.
    to : int
        Step of its form [-].
    """
    try:
        path.touch(exist_ok=False)
    except OSError as error:
        raise storage_error(name, f"cannot be written ({error.strerror})", "choose another place, or free it") from None
    store = Store(Place(name, path=path), wait_s=5.0)
    try:
        with store.writing() as connection:
            bring_up(connection, name, clock, to)
        store.settle_journal()
    finally:
        store.close()


def put_in_place(temporary: Path, path: Path, name: str, *, force: bool = False) -> bool:
    """Move a finished file to its place and make the move last.

    Parameters
    ----------
    temporary : Path
        The finished file.
    path : Path
        Its place.
    name : str
        Name for errors.
    force : bool
        True to take the place of a file that is there.

    Returns
    -------
    bool
        False when another program has put a file there meanwhile, which is left alone.
    """
    try:
        _sync(temporary)
        if force:
            temporary.replace(path)
        else:
            _link(temporary, path)
        _sync(path.parent)
    except FileExistsError:
        return False
    except OSError as error:
        raise storage_error(name, f"cannot be written ({error.strerror})", "choose another place, or free it") from None
    return True


def new_file(path: Path, clock: WallClock) -> None:
    """Make an empty book, unless another program has made one meanwhile.

    Parameters
    ----------
    path : Path
        The file.
    clock : callable
        Tells the time.
    """
    with beside(path) as temporary:
        make_tables(temporary, str(path), clock)
        put_in_place(temporary, path, str(path))


def _link(temporary: Path, path: Path) -> None:
    try:
        os.link(temporary, path)
    except OSError as error:
        # Some file systems know no second name for a file.
        if error.errno not in _NO_LINKS:
            raise
        if path.exists():
            raise FileExistsError(path) from None
        temporary.replace(path)


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

"""The way into a log book."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from castq.core.clock import SYSTEM_CLOCK, WallClock
from castq.files.logbook.errors import StorageError, storage_error
from castq.files.logbook.place import Place, check_file, place_of

if TYPE_CHECKING:
    from castq.files.logbook.book import LogBook
    from castq.files.logbook.store import Store


def open_book(
    url_or_path: str | Path, clock: WallClock = SYSTEM_CLOCK, *, create: bool = True, wait_s: float = 5.0
) -> LogBook:
    """Return a log book, made when it is not there; use it in a `with` block.

    Parameters
    ----------
    url_or_path : str or Path
        A file, or `postgresql://user@host/database`.
    clock : callable
        Tells the time, with its time zone.
    create : bool
        False to refuse a book that is not there.
    wait_s : float
        How long to wait for another writer [s].

    Raises
    ------
    StorageError
        If it cannot be opened or made, is not a log book, or was written by a newer castq.
    """
    try:
        from castq.files.logbook.book import LogBook
        from castq.files.logbook.store import Store

        place = place_of(url_or_path)
        if place.path is not None:
            _file_there(place.path, clock, create)
        store = Store(place, wait_s)
    except ModuleNotFoundError as missing:
        raise _not_installed(missing) from None
    try:
        _take_steps(store, clock, create)
    except BaseException:
        store.close()
        raise
    return LogBook(store, clock)


def _file_there(path: Path, clock: WallClock, create: bool) -> None:
    from castq.files.logbook.newfile import new_file

    if not check_file(path, create):
        new_file(path, clock)


def _take_steps(store: Store, clock: WallClock, create: bool) -> None:
    from castq.files.logbook.migrate import NEWEST, bring_up, form_of

    with store.reading() as connection:
        form = form_of(connection, store.place.name)
    if form == 0 and (store.place.path is not None or not create):
        raise _no_book(store.place)
    store.settle_journal()
    if form < NEWEST:
        with store.writing() as connection:
            bring_up(connection, store.place.name, clock)


def _no_book(place: Place) -> StorageError:
    what = "is not a log book: it holds other tables, or none" if place.path else "holds no log book"
    return storage_error(place.name, what, "name a log book, or a place for a new one")


def _not_installed(missing: ModuleNotFoundError) -> StorageError:
    return storage_error("log book", f"needs the package '{missing.name}', which is not installed",
                         "install it with: pip install 'castq[shop]'")  # fmt: skip

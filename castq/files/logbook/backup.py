"""A copy of a book that is in use: whole, checked, and in its place only then."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from sqlalchemy import insert, select, update

from castq.core.clock import WallClock
from castq.files.logbook.checking import check, head_of
from castq.files.logbook.entry import Backup
from castq.files.logbook.errors import GO_BACK, in_one_sentence, storage_error
from castq.files.logbook.newfile import beside, make_tables, put_in_place
from castq.files.logbook.place import Place, journal_of
from castq.files.logbook.schema import ENTRIES, HEAD
from castq.files.logbook.store import Store

_AT_ONCE = 5000


def write_backup(store: Store, path: Path, clock: WallClock, *, force: bool) -> Backup:
    """Write a copy of a book to a file and check it.

    Parameters
    ----------
    store : Store
        The book.
    path : Path
        The copy.
    clock : callable
        Tells the time.
    force : bool
        True to take the place of a file that is there.

    Raises
    ------
    StorageError
        If it cannot be written, or the book itself is damaged; then nothing stands at `path` that did not before.
    """
    name = str(path)
    _check_target(store, path, force)
    with beside(path.resolve()) as temporary:
        if store.place.path is not None:
            _copy_file(store, temporary, name)
        else:
            make_tables(temporary, name, clock)
            _copy_rows(store, temporary, name)
        copy = Store(Place(name, path=temporary), wait_s=0.0)
        try:
            result = check(copy, None)
        finally:
            copy.close()
        if not result.ok:
            raise storage_error(store.place.name, f"is damaged ({result.words}), no backup was kept", GO_BACK)
        _one_file(temporary, name)
        if not put_in_place(temporary, path.resolve(), name, force=force):
            raise _taken(name)
    return Backup(path, result.head)


def _check_target(store: Store, path: Path, force: bool) -> None:
    name = str(path)
    if store.place.path == path.resolve():
        raise storage_error(name, "is the log book itself", "choose another name for the backup")
    if path.is_dir() or not path.resolve().parent.is_dir():
        raise storage_error(name, "is no file that could be written", "name a file in a folder that exists")
    if journal_of(path.resolve()).exists():
        raise storage_error(name, "is a log book in use", "choose another name for the backup")
    if path.exists() and not force:
        raise _taken(name)


def _taken(name: str) -> Exception:
    return storage_error(name, "is there already", "choose another name for the backup")


def _copy_file(store: Store, temporary: Path, name: str) -> None:
    # SQLite's own way: one state of the book, with what still stands in its journal, while others go on writing.
    with in_one_sentence(name):
        raw = store.engine.raw_connection()
        try:
            source = raw.driver_connection
            target = sqlite3.connect(temporary)
            try:
                if isinstance(source, sqlite3.Connection):
                    source.backup(target)
            finally:
                target.close()
        finally:
            raw.close()


def _copy_rows(store: Store, temporary: Path, name: str) -> None:
    copy = Store(Place(name, path=temporary), wait_s=0.0)
    try:
        with store.reading() as source, copy.writing() as target:
            head = head_of(source)
            streamed = source.execution_options(stream_results=True, yield_per=_AT_ONCE).execute(
                select(ENTRIES).order_by(ENTRIES.c.sequence)
            )
            for part in streamed.mappings().partitions():
                target.execute(insert(ENTRIES), [dict(row) for row in part])
            if head.rows:
                target.execute(update(HEAD).values(rows=head.rows, row_hash=head.row_hash))
    finally:
        copy.close()


def _one_file(temporary: Path, name: str) -> None:
    """Let the copy stand alone: no journal beside it that could be left behind."""
    with in_one_sentence(name):
        connection = sqlite3.connect(temporary, isolation_level=None)
        try:
            connection.execute("PRAGMA journal_mode = DELETE")
        finally:
            connection.close()

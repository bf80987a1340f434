"""Reading a whole book to see whether it is as it was written."""

from __future__ import annotations

import sqlite3
from typing import Any

from sqlalchemy import Connection, select

from castq.files.logbook.chain import Checker
from castq.files.logbook.entry import Head, VerifyResult
from castq.files.logbook.errors import StorageError
from castq.files.logbook.rows import COLUMNS
from castq.files.logbook.schema import ENTRIES, HEAD
from castq.files.logbook.store import Store

_AT_ONCE = 5000


def head_of(connection: Connection, *, lock: bool = False) -> Head:
    """Return the end of the chain as the book states it.

    Parameters
    ----------
    connection : Connection
        To the book.
    lock : bool
        True to keep other writers out until the transaction ends.
    """
    query = select(HEAD.c.rows, HEAD.c.row_hash)
    found = connection.execute(query.with_for_update() if lock else query).first()
    if found is None or not isinstance(found[0], int):
        return Head(-1, "")
    return Head(found[0], str(found[1]))


def check(store: Store, noted: str | None) -> VerifyResult:
    """Read every row and follow the chain.

    Parameters
    ----------
    store : Store
        The book.
    noted : str, optional
        A head noted outside the book earlier.
    """
    checker, head = Checker(noted), Head(-1, "")
    try:
        with store.reading() as connection:
            _read_all_letters(connection)
            head = head_of(connection)
            query = select(*(ENTRIES.c[name] for name in COLUMNS)).order_by(ENTRIES.c.sequence)
            streamed = connection.execution_options(stream_results=True, yield_per=_AT_ONCE).execute(query)
            fault = next(filter(None, map(checker.fault_in, streamed.partitions())), "")
            fault = fault or _fault_of_file(connection)
    except StorageError as error:
        fault = f"row {checker.rows + 1} cannot be read: {error.faults[0].found}"
    return checker.result(fault, head)


def _read_all_letters(connection: Connection) -> None:
    """Let letters that a damaged disk spoilt be read as they are, so that their row can be named."""
    driver = connection.connection.driver_connection
    if isinstance(driver, sqlite3.Connection):
        driver.text_factory = _letters
        connection.detach()


def _letters(data: bytes) -> str:
    return data.decode("utf-8", "surrogateescape")


def _fault_of_file(connection: Connection) -> str:
    """Return what SQLite finds wrong: rows may be whole and an index, by which they are found, spoilt."""
    if connection.dialect.name != "sqlite":
        return ""
    found: Any = connection.exec_driver_sql("PRAGMA integrity_check(1)").scalar()
    return "" if found == "ok" else "the rows are whole, but the file is damaged"

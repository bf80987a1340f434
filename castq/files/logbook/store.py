"""The database under a log book: how it is opened, read and written; the same code for SQLite and PostgreSQL."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import Connection, Engine, create_engine, event, insert
from sqlalchemy.pool import QueuePool

from castq.files.logbook.errors import in_one_sentence, storage_error
from castq.files.logbook.place import Place, is_on_network
from castq.files.logbook.schema import ENTRIES

_WRITES = "castq_writes"
_CONNECTIONS = 5
_STREAMED = 500


class Store:
    """An open database.

    Attributes
    ----------
    place : Place
        Where it is.
    engine : Engine
        SQLAlchemy's engine.
    writable : bool
        False for a file that this user may only read.
    warnings : tuple of str
        What should be said about its place.
    """

    def __init__(self, place: Place, wait_s: float) -> None:
        """Set up; nothing is opened yet.

        Parameters
        ----------
        place : Place
            Where it is.
        wait_s : float
            How long to wait for another writer [s].
        """
        self.place, self.writable = place, True
        self.warnings: tuple[str, ...] = ()
        self._journal = "WAL"
        if place.path is not None:
            self.writable = os.access(place.path, os.W_OK) and os.access(place.path.parent, os.W_OK)
            self.engine = self._of_file(place.path, wait_s)
        else:
            self.engine = self._of_server(wait_s)

    def _of_file(self, path: Path, wait_s: float) -> Engine:
        mode = "rw" if self.writable else "ro"
        uri = f"file:{quote(str(path))}?mode={mode}"
        if is_on_network(path):
            self._journal = "DELETE"
            self.warnings = ("the log book lies on another machine: slower, and only as safe as that share; "
                             "better keep it on this machine, or in PostgreSQL",)  # fmt: skip

        def connect() -> sqlite3.Connection:
            connection = sqlite3.connect(uri, uri=True, timeout=wait_s, isolation_level=None, check_same_thread=False)
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA synchronous = FULL")
            return connection

        engine = create_engine("sqlite+pysqlite://", creator=connect, poolclass=QueuePool, pool_size=_CONNECTIONS)
        event.listen(engine, "begin", _begin)
        return engine

    def _of_server(self, wait_s: float) -> Engine:
        if self.place.url is None:
            raise storage_error(self.place.name, "is neither a file nor a database", "name one of them")
        # Not the server's own choice: a stricter one would refuse a writer that waited for its turn.
        engine = create_engine(self.place.url, connect_args={"connect_timeout": 10}, pool_pre_ping=True,
                               isolation_level="READ COMMITTED")  # fmt: skip

        @event.listens_for(engine, "connect")
        def _set(connection: Any, _: object) -> None:
            with connection.cursor() as cursor:
                cursor.execute(f"SET lock_timeout = {int(1000 * wait_s)}")
                cursor.execute("SET synchronous_commit = on")
            connection.commit()

        return engine

    def settle_journal(self) -> None:
        """Choose how SQLite guards the file against a crash; call it only once the file is known to be a log book."""
        if self.place.path is None or not self.writable:
            return
        with in_one_sentence(self.place.name):
            raw = self.engine.raw_connection()
            try:
                cursor = raw.cursor()
                # Not possible while another program has the file open; the way it has now is as safe, only slower.
                with suppress(sqlite3.OperationalError):
                    cursor.execute(f"PRAGMA journal_mode = {self._journal}")
            finally:
                raw.close()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the book throughout."""
        with in_one_sentence(self.place.name), self.engine.connect() as connection:
            if connection.dialect.name == "postgresql":
                connection.execution_options(isolation_level="REPEATABLE READ")
            with connection.begin():
                yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give a connection whose changes are on the disk, all or none, when the block ends."""
        if not self.writable:
            raise storage_error(self.place.name, "is read-only", "ask for the right to write there")
        with in_one_sentence(self.place.name), self.engine.connect() as connection:
            with connection.execution_options(**{_WRITES: True}).begin():
                yield connection

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def _begin(connection: Connection) -> None:
    # A writer takes its turn at once: two that read first and write later would refuse each other.
    writes = connection.get_execution_options().get(_WRITES)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def add_rows(connection: Connection, rows: Sequence[Mapping[str, Any]]) -> None:
    """Add sealed rows; many at once are sent to a server as one stream, so that others need not wait for long.

    Parameters
    ----------
    connection : Connection
        In a transaction that writes.
    rows : sequence of mapping
        All columns of each row.
    """
    driver = connection.connection.driver_connection
    if len(rows) < _STREAMED or driver is None or connection.dialect.name != "postgresql":
        connection.execute(insert(ENTRIES), rows)
        return
    names = [column.name for column in ENTRIES.columns]
    with driver.cursor() as cursor, cursor.copy(f"COPY {ENTRIES.name} ({', '.join(names)}) FROM STDIN") as stream:
        for row in rows:
            stream.write_row([row[name] for name in names])

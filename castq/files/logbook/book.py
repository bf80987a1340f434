"""The log book: rows are added, corrected by further rows, read and checked; none is ever changed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from sqlalchemy import Connection, select, update

from castq.core.clock import WallClock
from castq.core.errors import InputError, input_error
from castq.files.logbook.backup import write_backup
from castq.files.logbook.chain import FIRST_HASH
from castq.files.logbook.checking import check, head_of
from castq.files.logbook.entry import BOOK, WITHDRAWN, Backup, Entry, Head, NewEntry, VerifyResult, moment_us
from castq.files.logbook.errors import GO_BACK, storage_error
from castq.files.logbook.queries import rows_asked
from castq.files.logbook.rows import COLUMNS, Row, correction_of, entry_of, prepared, sealed
from castq.files.logbook.schema import ENTRIES, HEAD
from castq.files.logbook.store import Store, add_rows

if TYPE_CHECKING:
    import pandas as pd


class LogBook:
    """An open log book, for several threads and beside other programs; close it, or use it in a `with` block.

    Attributes
    ----------
    name : str
        Where it is; never holds a password.
    warnings : tuple of str
        What should be said about that place.
    """

    def __init__(self, store: Store, clock: WallClock) -> None:
        """Set up; `open_book` is the way in.

        Parameters
        ----------
        store : Store
            The database, in the form of this castq.
        clock : callable
            Tells the time.
        """
        self._store, self._clock = store, clock
        self.name, self.warnings = store.place.name, store.warnings

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Close the book."""
        self._store.close()

    def append(self, kind: str, payload: Mapping[str, Any], entered_by: str, at: datetime) -> Entry:
        """Add one row; it is on the disk when this returns.

        Parameters
        ----------
        kind : str
            Kind of entry.
        payload : mapping
            What is entered.
        entered_by : str
            Who enters it.
        at : datetime
            When it happened, with its time zone.

        Raises
        ------
        InputError
            If no row could hold it.
        StorageError
            If it could not be written; then nothing of it was kept.
        """
        return self.append_many([NewEntry(kind, payload, entered_by, at)])[0]

    def append_many(self, entries: Iterable[NewEntry]) -> list[Entry]:
        """Add rows, all or none.

        Parameters
        ----------
        entries : iterable of NewEntry
            What is entered, in its order.
        """
        rows = [prepared(entry) for entry in entries]
        if not rows:
            return []
        with self._store.writing() as connection:
            done = self._add(connection, rows)
        return [entry_of(row, self.name) for row in done]

    def correct(
        self, entry_id: int, payload: Mapping[str, Any], entered_by: str, reason: str, at: datetime | None = None
    ) -> Entry:
        """Add a row that stands in the place of another.

        Parameters
        ----------
        entry_id : int
            Sequence of the row that was wrong.
        payload : mapping
            What it should have said, in full.
        entered_by : str
            Who corrects it.
        reason : str
            Why.
        at : datetime, optional
            When it happened, if that was wrong.

        Raises
        ------
        InputError
            If there is no such row, or it was corrected before.
        """
        with self._store.writing() as connection:
            target = self._open_target(connection, entry_id)
            row = prepared(NewEntry(target.kind, payload, entered_by, at or target.at))
            done = self._add(connection, [correction_of(target, row, reason)])
        return entry_of(done[0], self.name)

    def withdraw(self, entry_id: int, entered_by: str, reason: str) -> Entry:
        """Add a row that takes another out of what holds, such as one entered twice.

        Parameters
        ----------
        entry_id : int
            Sequence of the row.
        entered_by : str
            Who withdraws it.
        reason : str
            Why.
        """
        with self._store.writing() as connection:
            target = self._open_target(connection, entry_id)
            row = prepared(NewEntry(target.kind, target.payload, entered_by, target.at))
            done = self._add(connection, [correction_of(target, {**row, "kind": WITHDRAWN}, reason)])
        return entry_of(done[0], self.name)

    def entry(self, entry_id: int) -> Entry:
        """Return the row of that sequence."""
        with self._store.reading() as connection:
            return self._row(connection, entry_id)

    def entries(
        self,
        kind: str | None = None,
        furnace: str | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
        current: bool = True,
        last: int | None = None,
    ) -> list[Entry]:
        """Return entries in the order of the book.

        Parameters
        ----------
        kind, furnace : str, optional
            Only these.
        since, until : datetime, optional
            Only what happened from `since` on and before `until`.
        current : bool
            True to leave out what was corrected or withdrawn; False for every row as it was written.
        last : int, optional
            Only so many, from the end [-].
        """
        query = rows_asked(COLUMNS, kind=kind, furnace=furnace, since=since, until=until, current=current)
        if last is not None:
            end = ENTRIES.c.place if current else ENTRIES.c.sequence
            query = query.order_by(None).order_by(end.desc()).limit(max(0, last))
        with self._store.reading() as connection:
            rows = connection.execute(query).mappings().all()
        return [entry_of(row, self.name) for row in (rows if last is None else reversed(rows))]

    def frame(
        self,
        kind: str | None = None,
        furnace: str | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
        current: bool = True,
        fields: Sequence[str] | None = None,
    ) -> pd.DataFrame:
        """Return entries as a table, fast; for the arguments see `entries`.

        Parameters
        ----------
        kind, furnace : str, optional
            Only these.
        since, until : datetime, optional
            Only what happened from `since` on and before `until`.
        current : bool
            True to leave out what was corrected or withdrawn.
        fields : sequence of str, optional
            Names in the payload, one column each; all of them by default.
        """
        from castq.files.logbook.frames import READ, table_of, uncollected

        query = rows_asked(READ, kind=kind, furnace=furnace, since=since, until=until, current=current)
        with uncollected():
            with self._store.reading() as connection:
                rows = connection.execute(query).all()
            return table_of(rows, fields, self.name)

    def head(self) -> Head:
        """Return the end of the chain; its `note` is worth keeping on paper."""
        with self._store.reading() as connection:
            return head_of(connection)

    def verify(self, noted: str | None = None) -> VerifyResult:
        """Check that every row is as it was written, where it was written.

        Parameters
        ----------
        noted : str, optional
            `Head.note` of an earlier day: without it a book that was written anew from some row on looks whole.
        """
        return check(self._store, noted)

    def backup(self, path: Path, *, force: bool = False) -> Backup:
        """Write a checked copy while the book stays in use; of a server's book too it is a file.

        Parameters
        ----------
        path : Path
            The copy.
        force : bool
            True to take the place of a file that is there.
        """
        return write_backup(self._store, Path(path), self._clock, force=force)

    def _add(self, connection: Connection, rows: list[Row]) -> list[Row]:
        head = head_of(connection, lock=True)
        found = connection.execute(
            select(ENTRIES.c.row_hash, ENTRIES.c.entered_us).where(ENTRIES.c.sequence == head.rows)
        ).first()
        last_hash, last_us = found or (FIRST_HASH if head.rows == 0 else "", 0)
        if last_hash != head.row_hash:
            raise storage_error(self.name, "its last row is not the one it should be, nothing more is added", GO_BACK)
        # The clock is read while no one else can write, so that rows of one machine do not overtake each other.
        done, new_head = sealed(rows, head, last_us, moment_us(self._clock(), "clock of this machine"))
        add_rows(connection, done)
        connection.execute(update(HEAD).values(rows=new_head.rows, row_hash=new_head.row_hash))
        return done

    def _open_target(self, connection: Connection, entry_id: int) -> Entry:
        head_of(connection, lock=True)
        target = self._row(connection, entry_id)
        if target.kind == WITHDRAWN:
            raise _wrong(entry_id, "is a withdrawal, which stays", "enter the value as a new row")
        later = connection.execute(select(ENTRIES.c.sequence).where(ENTRIES.c.replaces == entry_id)).scalar()
        if later is not None:
            raise _wrong(entry_id, f"was corrected before, by row {later}", f"correct row {later} instead")
        return target

    def _row(self, connection: Connection, entry_id: int) -> Entry:
        query = select(ENTRIES).where(ENTRIES.c.sequence == entry_id)
        row = connection.execute(query).mappings().first()
        if row is None:
            raise _wrong(entry_id, "is not in the book", "look up its number")
        return entry_of(row, self.name)


def _wrong(entry_id: int, found: str, mend: str) -> InputError:
    return input_error(BOOK, f"row {entry_id}", found, "", mend)

"""What stands in a log book: entries, and what its checks and backups return."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from castq.core.errors import input_error

WITHDRAWN = "correction"
KINDS = ("sample", "treatment", "addition", "air", "calibration", "release", WITHDRAWN)
BOOK = "log book"
NOTED_LETTERS = 16
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_TICK = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class NewEntry:
    """An entry to be written.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    payload : mapping
        What is entered: names with units and plain JSON values; its `furnace`, if any, is what `entries` filters by.
    entered_by : str
        Who enters it.
    at : datetime
        When it happened, with its time zone.
    """

    kind: str
    payload: Mapping[str, Any]
    entered_by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Entry:
    """A row of the log book, as it was written.

    Attributes
    ----------
    sequence : int
        Its number, from 1 and without gaps: the order of the book, whatever the clock showed [-].
    place : int
        Sequence of the entry that it stands for: its own, or that of the first one that it corrects [-].
    kind, furnace : str
        Kind of entry, and name of the furnace (empty when the payload names none).
    at : datetime
        When it happened, with the offset it was given with.
    payload : dict
        What was entered.
    entered_by : str
        Who entered it.
    entered_at : datetime
        When, by the clock of the machine.
    clock_back_s : int
        How far the clock had gone back since the row before [s].
    replaces : int or None
        Sequence of the row that it corrects.
    reason : str
        Why it corrects it.
    previous_hash, row_hash : str
        Links of the chain.
    """

    sequence: int
    place: int
    kind: str
    furnace: str
    at: datetime
    payload: dict[str, Any]
    entered_by: str
    entered_at: datetime
    clock_back_s: int
    replaces: int | None
    reason: str
    previous_hash: str
    row_hash: str

    @property
    def warnings(self) -> tuple[str, ...]:
        """What should be said with the entry; it was kept all the same."""
        if self.clock_back_s == 0:
            return ()
        back = f"{self.clock_back_s / 60:.0f} min" if self.clock_back_s >= 120 else f"{self.clock_back_s} s"
        return (f"clock went back by {back} since the row before; the order of the book is kept, set the clock right",)


@dataclass(frozen=True, slots=True)
class Head:
    """The end of the chain; noted outside the book, it proves later that nothing before it was changed.

    Attributes
    ----------
    rows : int
        Rows in the book [-].
    row_hash : str
        Hash of the last one.
    """

    rows: int
    row_hash: str

    @property
    def note(self) -> str:
        """Short enough to be written on paper."""
        return f"{self.rows}-{self.row_hash[:NOTED_LETTERS]}"


@dataclass(frozen=True, slots=True)
class VerifyResult:
    """Outcome of a check of the whole book.

    Attributes
    ----------
    ok : bool
        True when every row is as it was written, where it was written.
    rows : int
        Rows found good, from the first [-].
    fault_row : int or None
        Sequence of the first row that is not.
    words : str
        The outcome in one sentence.
    head : Head
        End of the chain as the book states it.
    """

    ok: bool
    rows: int
    fault_row: int | None
    words: str
    head: Head


@dataclass(frozen=True, slots=True)
class Backup:
    """A backup that was written and checked.

    Attributes
    ----------
    path : Path
        The file: an SQLite book that can be opened as it is.
    head : Head
        End of its chain.
    """

    path: Path
    head: Head


def moment_us(moment: datetime, what: str) -> tuple[int, int]:
    """Return a moment as microseconds since 1970 in UTC and the offset it was given with.

    Parameters
    ----------
    moment : datetime
        The moment.
    what : str
        What it is the time of, for the error.

    Returns
    -------
    tuple of int
        Time [us] and offset [s].

    Raises
    ------
    InputError
        If it has no time zone.
    """
    offset = moment.utcoffset()
    if offset is None:
        example = moment.replace(microsecond=0).isoformat() + "+01:00"
        raise input_error(BOOK, what, f"the time {moment} has no time zone", "", f"give one, such as {example}")
    return (moment - _EPOCH) // _TICK, int(offset.total_seconds())


def moment_of(time_us: int, offset_s: int) -> datetime:
    """Return the moment that `moment_us` took apart.

    Parameters
    ----------
    time_us : int
        Time since 1970 in UTC [us].
    offset_s : int
        Offset of the time zone [s].
    """
    return (_EPOCH + timedelta(microseconds=time_us)).astimezone(timezone(timedelta(seconds=offset_s)))

"""Import of a plant's table: rows are read, checked, compared with the book, and written all together or not at all."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castq.core.clock import SYSTEM_CLOCK, WallClock
from castq.core.errors import Fault
from castq.files.logbook.chain import canonical
from castq.files.logbook.entry import NewEntry
from castq.files.logbook.frames import uncollected
from castq.files.logbook.mapping import TableMapping
from castq.files.logbook.plant_records import Made, Outcome, Refused, read_records
from castq.files.logbook.plant_table import read_plant_table
from castq.screening.types import InputFile

if TYPE_CHECKING:
    from castq.files.logbook.book import LogBook

# Who took a sample and what was remarked does not make it another sample.
_NOT_COMPARED = frozenset({"sampled_by", "note"})
_CLOCKS_APART = timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class Duplicate:
    """A row that is there already: its number, and where the same values of that furnace and time stand."""

    row: int
    same_as: str


@dataclass(frozen=True, slots=True)
class ImportResult:
    """Outcome of an import; `rows` is the sum of written, held back, refused, duplicate and empty rows.

    Attributes
    ----------
    input : InputFile
        Name, sha256 and size of the table.
    rows : int
        Rows below the header that are not blank [-].
    written : int
        Rows now in the book [-].
    held_back : int
        Good rows that were not written: it was a check, or others were refused [-].
    empty : int
        Rows that hold nothing of what the mapping reads [-].
    kinds : mapping of str to int
        Good rows of each kind [-].
    refused : tuple of Refused
        Every reason, in the order of the rows.
    duplicates : tuple of Duplicate
        Rows that are in the book already, or twice in the table.
    sequences : tuple of int
        First and last row of the book that were written; empty when none was.
    """

    input: InputFile
    rows: int
    written: int
    held_back: int
    empty: int
    kinds: Mapping[str, int]
    refused: tuple[Refused, ...]
    duplicates: tuple[Duplicate, ...]
    sequences: tuple[int, ...]

    @property
    def refused_rows(self) -> int:
        """Rows that are refused, whatever the number of reasons [-]."""
        return len({one.row for one in self.refused})

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Reasons as faults, each with row and column."""
        return tuple(
            Fault(self.input.name, f"row {one.row}" + (f", {one.column}" if one.column else ""), one.reason, "", "")
            for one in self.refused
        )

    @property
    def words(self) -> str:
        """The counts in one sentence."""
        counts = (
            (self.written, "written"),
            (self.held_back, "good but not written"),
            (self.refused_rows, "refused"),
            (len(self.duplicates), "there already"),
            (self.empty, "empty"),
        )
        parts = ", ".join(f"{count:,} {what}" for count, what in counts if count or what in {"written", "refused"})
        return f"{self.rows:,} row{'s' * (self.rows != 1)}: {parts}"


@dataclass(frozen=True, slots=True, eq=False)
class ReadRows:
    """A table that was read and checked, not yet compared with a book.

    Attributes
    ----------
    input : InputFile
        Name, sha256 and size of the table.
    rows : int
        Rows below the header that are not blank [-].
    outcome : Outcome
        What became of them.
    """

    input: InputFile
    rows: int
    outcome: Outcome


def import_rows(
    book: LogBook | None,
    path: Path,
    mapping: TableMapping,
    *,
    entered_by: str,
    check: bool = False,
    accept_good: bool = False,
    clock: WallClock = SYSTEM_CLOCK,
) -> ImportResult:
    """Import a table: `read_rows`, then `write_rows`; see there.

    Parameters
    ----------
    book : LogBook or None
        Where it goes; none to check a table without a book.
    path : Path
        CSV or XLSX.
    mapping : TableMapping
        What its columns mean.
    entered_by : str
        Who imports it.
    check : bool
        True to write nothing.
    accept_good : bool
        True to write good rows though others are refused.
    clock : callable
        Tells the time: no row may be of the future.
    """
    read = read_rows(path, mapping, clock=clock)
    return write_rows(book, read, entered_by=entered_by, check=check, accept_good=accept_good)


def read_rows(path: Path, mapping: TableMapping, *, clock: WallClock = SYSTEM_CLOCK) -> ReadRows:
    """Return a table, read and checked row by row.

    Parameters
    ----------
    path : Path
        CSV or XLSX.
    mapping : TableMapping
        What its columns mean.
    clock : callable
        Tells the time: no row may be of the future.

    Raises
    ------
    InputError
        If the table cannot be read as the mapping says.
    """
    with uncollected():
        table = read_plant_table(path, mapping)
        outcome = read_records(table, mapping)
        _refuse(outcome, _of_the_future(outcome.made, mapping, clock()))
        _refuse(outcome, _out_of_order(outcome.made, mapping))
    return ReadRows(table.source.input, len(table.rows) + len(table.ragged), outcome)


def write_rows(
    book: LogBook | None, read: ReadRows, *, entered_by: str, check: bool = False, accept_good: bool = False
) -> ImportResult:
    """Write the rows that are new; when a row was refused none is, unless the good ones are accepted.

    Parameters
    ----------
    book : LogBook or None
        Where they go; none to see what an import would do.
    read : ReadRows
        From `read_rows`.
    entered_by : str
        Who imports them.
    check : bool
        True to write nothing.
    accept_good : bool
        True to write good rows though others are refused.

    Raises
    ------
    StorageError
        If the book cannot be read or written; then no row of the table was kept.
    """
    refused = sorted(read.outcome.refused, key=lambda one: one.row)
    with uncollected():
        good, duplicates = _without_duplicates(read.outcome.made, book)
        good.sort(key=lambda made: made.at)
        writes = book is not None and not check and (accept_good or not refused)
        sequences = _written(book, good, entered_by) if book is not None and writes else ()
    return ImportResult(
        input=read.input,
        rows=read.rows,
        written=len(good) if writes else 0,
        held_back=0 if writes else len(good),
        empty=read.outcome.empty,
        kinds=dict(Counter(made.kind for made in good)),
        refused=tuple(refused),
        duplicates=tuple(duplicates),
        sequences=sequences,
    )


def _written(book: LogBook, good: Sequence[Made], entered_by: str) -> tuple[int, ...]:
    """Write rows in one piece: an import that breaks off leaves none of them."""
    entries = book.append_many(NewEntry(made.kind, made.payload, entered_by, made.at) for made in good)
    return (entries[0].sequence, entries[-1].sequence) if entries else ()


def _refuse(outcome: Outcome, refused: Sequence[Refused]) -> None:
    rows = {one.row for one in refused}
    outcome.refused += refused
    outcome.made = [made for made in outcome.made if made.row not in rows]


def _of_the_future(rows: Iterable[Made], mapping: TableMapping, now: datetime) -> list[Refused]:
    latest, column = now + _CLOCKS_APART, ", ".join(mapping.time.columns)
    return [
        Refused(made.row, column, f"{_shown(made)} has not come yet; check the date, its format and the time zone")
        for made in rows
        if made.at > latest
    ]


def _out_of_order(rows: Sequence[Made], mapping: TableMapping) -> list[Refused]:
    """Return the rows that break the stated order of their furnace: as few as explain it."""
    order = mapping.time.order
    if order == "none":
        return []
    refused = []
    for group in _grouped(rows, lambda made: (made.kind, made.payload.get("furnace"))).values():
        forward = sorted(group, key=lambda made: made.row, reverse=order == "newest first")
        times = [made.at for made in forward]
        kept = _longest_rise(times)
        refused += [
            Refused(made.row, ", ".join(mapping.time.columns),
                    f"{_shown(made)} runs backwards; the rows of a furnace stand {order}, as the mapping says: "
                    "check date, hour and clock")
            for place, made in enumerate(forward) if place not in kept
        ]  # fmt: skip
    return refused


def _shown(made: Made) -> str:
    return made.at.isoformat(" ", "minutes")


def _grouped(rows: Iterable[Made], key: Callable[[Made], Hashable]) -> dict[Hashable, list[Made]]:
    groups: dict[Hashable, list[Made]] = {}
    for made in rows:
        groups.setdefault(key(made), []).append(made)
    return groups


def _longest_rise(times: Sequence[datetime]) -> set[int]:
    """Return the places of the longest run of times, others left out, that never goes back."""
    ends: list[datetime] = []
    places: list[int] = []
    before: list[int] = []
    for place, time in enumerate(times):
        length = bisect_right(ends, time)
        before.append(places[length - 1] if length else -1)
        ends[length : length + 1], places[length : length + 1] = [time], [place]
    kept, place = set(), places[-1] if places else -1
    while place >= 0:
        kept.add(place)
        place = before[place]
    return kept


def _key(kind: str, at: datetime, payload: Mapping[str, Any]) -> tuple[str, float, str]:
    compared = {name: value for name, value in payload.items() if name not in _NOT_COMPARED}
    return kind, at.timestamp(), canonical(compared)


def _without_duplicates(rows: Sequence[Made], book: LogBook | None) -> tuple[list[Made], list[Duplicate]]:
    """Return the rows that are new, and the others.

    Rows that were corrected or withdrawn since count as well: a second import must not bring the wrong value back.
    """
    seen: dict[tuple[str, float, str], str] = {}
    if book is not None and rows:
        first, last = min(made.at for made in rows), max(made.at for made in rows)
        for entry in book.entries(since=first, until=last + timedelta(microseconds=1), current=False):
            seen.setdefault(_key(entry.kind, entry.at, entry.payload), f"row {entry.sequence} of the log book")
    good, duplicates = [], []
    for made in sorted(rows, key=lambda made: made.row):
        key = _key(made.kind, made.at, made.payload)
        if key in seen:
            duplicates.append(Duplicate(made.row, seen[key]))
        else:
            seen[key] = f"row {made.row} of the table"
            good.append(made)
    return good, duplicates

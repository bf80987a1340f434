"""What the log book holds of a furnace now, and the one checked way in which records get into it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from castq.core.clock import SYSTEM_CLOCK, WallClock
from castq.core.errors import InputError, input_error, nearest
from castq.melt.checks import check_addition, check_air, check_order, check_samples, check_treatment
from castq.melt.records import Record, happened_at, kind_of, payload_of, record_of
from castq.melt.types import Addition, Air, Kinetics, Sample, Treatment

if TYPE_CHECKING:
    from castq.files.logbook.book import LogBook
    from castq.files.logbook.entry import Entry

# Samples of one melt are taken close together; common practice.
TOGETHER = timedelta(minutes=60)
# Air, additions and treatments older than this say nothing about the melt of today; common practice.
RECENT = timedelta(hours=24)
# A clock that is off by less is taken as right.
CLOCK_ROOM = timedelta(minutes=2)
_NEWEST = 60
_NAMES_FROM = 1000


@dataclass(frozen=True, slots=True)
class FurnaceNow:
    """What the book holds of the melt in a furnace.

    Attributes
    ----------
    furnace : str
        Its name.
    samples : tuple of Sample
        Newest sample and those of the same melt beside it, in order of time; empty when there is none.
    air : Air or None
        Newest air of the day.
    treatments, additions : tuple
        Those of the day before `at`, in order of time.
    kinetics : Kinetics or None
        Newest calibration of the furnace in the book.
    notes : tuple of str
        What has happened since the newest sample, in words: then the answer is of before it.
    """

    furnace: str
    samples: tuple[Sample, ...]
    air: Air | None
    treatments: tuple[Treatment, ...]
    additions: tuple[Addition, ...]
    kinetics: Kinetics | None
    notes: tuple[str, ...]


def furnaces_of(book: LogBook) -> tuple[str, ...]:
    """Return the names of the furnaces in the newest rows of a book."""
    return tuple(sorted({entry.furnace for entry in book.entries(last=_NAMES_FROM) if entry.furnace}))


def furnace_named(book: LogBook, written: str) -> str:
    """Return the name of a furnace as the book has it; `furnace 2` and `2` are the same.

    Raises
    ------
    InputError
        If the newest rows name no such furnace.
    """
    known = furnaces_of(book)
    for name in (written, written.strip().removeprefix("furnace").strip(), f"furnace {written.strip()}"):
        if name in known:
            return name
    mend = nearest(written, known) if known else "enter a sample first, with castq melt add sample"
    raise input_error(book.name, "furnace", f"holds no row of '{written}'", "", mend)


def furnace_now(book: LogBook, furnace: str, at: datetime) -> FurnaceNow:
    """Return what the book holds of the melt in a furnace at a time.

    Parameters
    ----------
    book : LogBook
        The book.
    furnace : str
        Name of the furnace.
    at : datetime
        From when it is seen; later rows do not count.

    Returns
    -------
    FurnaceNow
        Samples of the last melt, air, treatments and additions.
    """
    samples = [s for s in _records(book, "sample", furnace) if isinstance(s, Sample) and s.taken_at <= at]
    treatments = [t for t in _records(book, "treatment", furnace) if isinstance(t, Treatment) and t.started_at <= at]
    additions = [a for a in _records(book, "addition", furnace) if isinstance(a, Addition) and a.at <= at]
    newest = max(samples, key=lambda s: s.taken_at, default=None)
    since = at - RECENT
    recent_treatments = tuple(sorted((t for t in treatments if t.started_at >= since), key=lambda t: t.started_at))
    recent_additions = tuple(sorted((a for a in additions if a.at >= since), key=lambda a: a.at))
    return FurnaceNow(
        furnace,
        () if newest is None else _of_one_melt(samples, newest, treatments),
        air_at(book, at),
        recent_treatments,
        recent_additions,
        _kinetics(book, furnace),
        () if newest is None else _since(newest, recent_treatments, recent_additions),
    )


def _records(book: LogBook, kind: str, furnace: str | None = None) -> list[Record]:
    entries = book.entries(kind, furnace, last=_NEWEST)
    return [record_of(entry.kind, entry.payload, entry.at) for entry in entries]


def _of_one_melt(samples: Sequence[Sample], newest: Sample, treatments: Sequence[Treatment]) -> tuple[Sample, ...]:
    """Return the newest sample and those beside it that tell of the same melt in the same state."""
    starts = [t.started_at for t in treatments if t.started_at <= newest.taken_at]
    since = max([newest.taken_at - TOGETHER, *starts])
    alike = [s for s in samples if s.taken_at >= since and (s.alloy, s.after) == (newest.alloy, newest.after)]
    return tuple(sorted(alike, key=lambda s: s.taken_at))


def _since(newest: Sample, treatments: Sequence[Treatment], additions: Sequence[Addition]) -> tuple[str, ...]:
    found = [f"treated at {t.started_at:%H:%M}" for t in treatments if t.started_at > newest.taken_at]
    found += [f"{a.kind} added at {a.at:%H:%M}" for a in additions if a.at > newest.taken_at]
    return tuple(f"{words}, after the last sample ({newest.taken_at:%H:%M}): take a new one" for words in found)


def air_at(book: LogBook, at: datetime) -> Air | None:
    """Return the newest air of the day before a time; none when there is none."""
    entries = book.entries("air", since=at - RECENT, until=at + timedelta(seconds=1))
    newest = max(entries, key=lambda e: e.at, default=None)
    air = None if newest is None else record_of("air", newest.payload, newest.at)
    return air if isinstance(air, Air) else None


def _kinetics(book: LogBook, furnace: str) -> Kinetics | None:
    own = [k for k in _records(book, "calibration", furnace) if isinstance(k, Kinetics)]
    return own[-1] if own else None


def enter(
    book: LogBook,
    records: Sequence[Record],
    entered_by: str,
    at: datetime | None = None,
    clock: WallClock = SYSTEM_CLOCK,
) -> list[Entry]:
    """Check records and add them to a book, all or none.

    Parameters
    ----------
    book : LogBook
        The book.
    records : sequence of Sample, Treatment, Addition, Air or Kinetics
        What is entered.
    entered_by : str
        Who enters it.
    at : datetime, optional
        When those happened that carry no time; now when not given.
    clock : WallClock
        Tells the time.

    Returns
    -------
    list of Entry
        The rows.

    Raises
    ------
    InputError
        If a record cannot be meant as it stands, lies in the future, or the clock has gone back; nothing is written.
    """
    from castq.files.logbook.entry import NewEntry

    now = clock()
    check_clock(book, now)
    rows = []
    for record in records:
        check_record(record)
        moment = happened_at(record) or at or now
        check_not_ahead(moment, now, kind_of(record))
        rows.append(NewEntry(kind_of(record), payload_of(record), entered_by, moment))
    return book.append_many(rows)


def check_record(record: Record) -> None:
    """Raise every fault of a record; see `castq.melt.checks`."""
    if isinstance(record, Sample):
        check_samples([record])
    elif isinstance(record, Treatment):
        check_treatment(record)
    elif isinstance(record, Addition):
        check_addition(record)
    elif isinstance(record, Air):
        check_air(record)


def check_not_ahead(moment: datetime, now: datetime, what: str) -> None:
    """Refuse a time that has not come yet, or one without its zone.

    Parameters
    ----------
    moment, now : datetime
        The time, and the clock of this machine.
    what : str
        What happened then.
    """
    check_order({"time": moment}, what)
    if moment > now + CLOCK_ROOM:
        raise input_error(
            what, "time", f"{moment:%Y-%m-%d %H:%M} has not come yet: the clock of this machine shows "
            f"{now.astimezone(moment.tzinfo):%Y-%m-%d %H:%M}", "", "check date, hour and clock",
        )  # fmt: skip


def check_clock(book: LogBook, now: datetime) -> None:
    """Refuse to write while the clock of this machine stands before the newest row."""
    last = book.entries(current=False, last=1)
    if last and last[0].entered_at > now + CLOCK_ROOM:
        raise input_error(
            "clock of this machine", "", f"shows {now:%Y-%m-%d %H:%M}, before the newest row of the book "
            f"({last[0].entered_at.astimezone(now.tzinfo):%Y-%m-%d %H:%M})", "a clock that goes forward",
            "set it right, then enter it again",
        )  # fmt: skip


def corrected(entry: Entry, changes: dict[str, object]) -> dict[str, object]:
    """Return the payload of a row with some values changed, checked as a new one would be.

    Parameters
    ----------
    entry : Entry
        The row.
    changes : dict
        Names of the payload with their new values; None takes a value out.

    Raises
    ------
    InputError
        If a name is not one of such a row, or the corrected record cannot be meant.
    """
    payload = {**entry.payload, **changes}
    payload = {name: value for name, value in payload.items() if value is not None}
    try:
        check_record(record_of(entry.kind, payload, entry.at))
    except InputError as error:
        raise InputError([replace(fault, mend=fault.mend.replace("enter a correction of that row", "mend the "
                                  "correction")) for fault in error.faults]) from None  # fmt: skip
    return payload

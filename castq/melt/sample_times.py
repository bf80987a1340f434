"""When samples were taken, in order, in the plant's own time, and in which shift."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, time
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.errors import input_error

if TYPE_CHECKING:
    from pandas import Series

Times = NDArray[np.datetime64]
DEFAULT_SHIFTS: dict[str, str] = {"early shift": "06:00", "late shift": "14:00", "night shift": "22:00"}
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
          "December")  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class SampleTimes:
    """Times of samples.

    Attributes
    ----------
    utc : array of datetime64[us]
        Time in UTC.
    local : array of datetime64[us]
        Time as the clock on the plant's wall showed it.
    """

    utc: Times
    local: Times


def sample_times(column: Series[Any], offset_s: ArrayLike | None = None) -> SampleTimes:
    """Return the times of a column of zoned times, datetimes or ISO texts.

    Parameters
    ----------
    column : Series
        Times, each with its offset from UTC.
    offset_s : array_like or None
        Offset of the plant's clock from UTC at each, where the times themselves are written in UTC [s].

    Returns
    -------
    SampleTimes
        In UTC and as shown on the wall.
    """
    zone = getattr(column.dtype, "tz", None)
    if zone is not None:
        utc = column.dt.tz_convert("UTC").dt.tz_localize(None).to_numpy().astype("datetime64[us]")
        local = column.dt.tz_localize(None).to_numpy().astype("datetime64[us]")
        _refuse_missing(np.isnat(utc))
        return SampleTimes(utc, local if offset_s is None else _shifted(utc, offset_s))
    taken = [_read(value, row) for row, value in enumerate(column.tolist(), start=1)]
    stamps = np.array([t.timestamp() for t in taken])
    own = [t.utcoffset().total_seconds() for t in taken] if offset_s is None else offset_s  # type: ignore[union-attr]
    utc = np.rint(stamps * 1e6).astype("int64").astype("datetime64[us]")
    return SampleTimes(utc, _shifted(utc, own))


def _shifted(utc: Times, offset_s: ArrayLike) -> Times:
    moved: Times = utc + np.rint(np.asarray(offset_s, dtype=float) * 1e6).astype("int64").astype("timedelta64[us]")
    return moved


def _refuse_missing(missing: NDArray[np.bool_]) -> None:
    if missing.any():
        row = int(np.flatnonzero(missing)[0]) + 1
        raise input_error("samples", f"at, row {row}", "no time", "a time with its offset", "enter when it was taken")


def _read(value: Any, row: int) -> datetime:
    """Return a zoned time, or refuse it."""
    try:
        taken = datetime.fromisoformat(value) if isinstance(value, str) else value
        zoned = taken.utcoffset() is not None
    except (ValueError, AttributeError, TypeError):
        raise input_error("samples", f"at, row {row}", f"'{value}' is not a time", "for example 2026-11-24T14:10+01:00",
                          "write the time with its offset") from None  # fmt: skip
    if not zoned:
        raise input_error("samples", f"at, row {row}", f"{value} has no offset from UTC",
                          "for example 2026-11-24T14:10+01:00", "add the offset of the plant")  # fmt: skip
    return taken


def shifts_of(local: Times, starts: Mapping[str, str] = DEFAULT_SHIFTS) -> NDArray[np.str_]:
    """Return the shift in which each sample was taken.

    Parameters
    ----------
    local : array of datetime64
        Times on the plant's clock.
    starts : mapping of name to start
        When each shift begins, as `06:00`; the last one runs past midnight to the first.

    Returns
    -------
    array of str
        Names of the shifts.
    """
    minutes = sorted((_minute_of_day(name, text), name) for name, text in starts.items())
    begins = np.array([minute for minute, _ in minutes])
    if len(begins) == 0 or len(set(begins.tolist())) < len(begins):
        raise input_error(
            "shifts", "start times", "none, or two that are the same", "one start time a shift", "mend them"
        )
    names = np.array([name for _, name in minutes])
    of_day = (local - local.astype("datetime64[D]")).astype("timedelta64[m]").astype(int)
    # Before the first start of the day it is still the last shift of the day before: index -1.
    return names[np.searchsorted(begins, of_day, side="right") - 1]


def _minute_of_day(name: str, text: str) -> int:
    try:
        start = time.fromisoformat(text)
    except (ValueError, TypeError):
        raise input_error("shifts", name, f"'{text}' is not a time of day", "for example 06:00", "mend it") from None
    return 60 * start.hour + start.minute


def time_words(local: np.datetime64, newest: np.datetime64) -> str:
    """Return a time as people say it, `Tuesday 14:10`, with the date when that day is not of the last six.

    Parameters
    ----------
    local, newest : datetime64
        The time, and the time it is seen from, both on the plant's clock.

    Returns
    -------
    str
        Words.
    """
    moment: datetime = local.astype("datetime64[us]").item()
    words = f"{DAYS[moment.weekday()]} {moment:%H:%M}"
    if newest - local < np.timedelta64(6, "D"):
        return words
    same_year = local.astype("datetime64[Y]") == newest.astype("datetime64[Y]")
    day = day_words(local).rpartition(" ")[0] if same_year else day_words(local)
    return f"{DAYS[moment.weekday()]} {day} {moment:%H:%M}"


def day_words(local: np.datetime64) -> str:
    """Return a day in words, `3 November 2026`."""
    moment: datetime = local.astype("datetime64[us]").item()
    return f"{moment.day} {MONTHS[moment.month - 1]} {moment.year}"

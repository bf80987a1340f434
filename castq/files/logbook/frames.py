"""Many entries as one table."""

from __future__ import annotations

import gc
import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import chain
from typing import Any

import pandas as pd

from castq.files.logbook.errors import GO_BACK, storage_error

READ = ("sequence", "place", "kind", "furnace", "at_us", "at_offset_s", "entered_us", "entered_by", "replaces",
        "payload")  # fmt: skip


@contextmanager
def uncollected() -> Iterator[None]:
    """Keep the search for cyclic rubbish away: over 100,000 rows, none in a cycle, it doubles the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def table_of(rows: Sequence[Sequence[Any]], fields: Sequence[str] | None, place: str) -> pd.DataFrame:
    """Return rows as a table: sequence, place, kind, furnace, times, entered_by, replaces, fields.

    The times are `at` and `entered_at`, both in UTC, and `at_offset_s`, the offset that the first was given with [s].

    Parameters
    ----------
    rows : sequence of sequence
        Columns `READ`.
    fields : sequence of str, optional
        Names in the payload; all of them by default.
    place : str
        Name of the book, for the error.

    Raises
    ------
    StorageError
        If a row was damaged so that it cannot be read.
    """
    columns = dict(zip(READ, zip(*rows, strict=True), strict=True)) if rows else dict.fromkeys(READ, ())
    texts = columns.pop("payload")
    try:
        payloads = json.loads(f"[{','.join(texts)}]")
        table = {
            "sequence": pd.array(columns["sequence"], dtype="int64"),
            "place": pd.array(columns["place"], dtype="int64"),
            "kind": columns["kind"],
            "furnace": columns["furnace"],
            "at": _times(columns["at_us"]),
            "at_offset_s": pd.array(columns["at_offset_s"], dtype="int64"),
            "entered_at": _times(columns["entered_us"]),
            "entered_by": columns["entered_by"],
            "replaces": pd.array(columns["replaces"], dtype="Int64"),
        }
        names = dict.fromkeys(chain.from_iterable(payloads)) if fields is None else fields
        table |= {name: [item.get(name) for item in payloads] for name in names if name not in table}
    except (TypeError, ValueError, AttributeError, OverflowError, RecursionError):
        raise storage_error(place, "a row is damaged", GO_BACK) from None
    return pd.DataFrame(table)


def _times(times_us: Sequence[int]) -> pd.Series[pd.Timestamp]:
    return pd.Series(pd.array(times_us, dtype="int64")).astype("datetime64[us, UTC]")

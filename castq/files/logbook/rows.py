"""From what is entered to rows of the chain, and back; refuses what no row could hold."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from castq.core.errors import InputError, input_error, nearest, plain
from castq.files.logbook.chain import HASHED, canonical, row_hash
from castq.files.logbook.entry import BOOK, KINDS, WITHDRAWN, Entry, Head, NewEntry, moment_of, moment_us
from castq.files.logbook.errors import GO_BACK, storage_error

MOST_LETTERS = 65_536
_NAME_LETTERS, _REASON_LETTERS = 100, 500
_US_PER_S = 1_000_000
Row = dict[str, Any]
COLUMNS = (*HASHED, "previous_hash", "row_hash")


def prepared(new: NewEntry) -> Row:
    """Return the columns of an entry that are known before it has a place in the chain.

    Parameters
    ----------
    new : NewEntry
        What is entered.

    Raises
    ------
    InputError
        If no row could hold it.
    """
    if new.kind not in KINDS or new.kind == WITHDRAWN:
        raise input_error(BOOK, "kind", f"'{new.kind}' is none", "", nearest(str(new.kind), KINDS[:-1]))
    at_us, at_offset_s = moment_us(new.at, f"{new.kind}, time")
    text = _payload(new.kind, new.payload)
    furnace = new.payload.get("furnace", "")
    if furnace != "":
        furnace = _line(furnace, "furnace", _NAME_LETTERS)
    return {"kind": new.kind, "furnace": furnace, "at_us": at_us, "at_offset_s": at_offset_s, "payload": text,
            "entered_by": _line(new.entered_by, "entered by", _NAME_LETTERS), "place": None, "replaces": None,
            "reason": ""}  # fmt: skip


def correction_of(target: Entry, row: Row, reason: str) -> Row:
    """Return a prepared row as the correction of an entry.

    Parameters
    ----------
    target : Entry
        The entry.
    row : dict
        From `prepared`.
    reason : str
        Why it is corrected.
    """
    return {**row, "place": target.place, "replaces": target.sequence,
            "reason": _line(reason, "reason", _REASON_LETTERS)}  # fmt: skip


def sealed(rows: Sequence[Row], head: Head, last_entered_us: int, now: tuple[int, int]) -> tuple[list[Row], Head]:
    """Return rows with their places in the chain, and the head after them.

    Parameters
    ----------
    rows : sequence of dict
        From `prepared`.
    head : Head
        End of the chain so far.
    last_entered_us : int
        When the last row was entered [us].
    now : tuple of int
        The time [us] and the offset of the clock [s].
    """
    done, last = [], head.row_hash
    clock_back_s = max(0, (last_entered_us - now[0]) // _US_PER_S) if head.rows else 0
    for sequence, row in enumerate(rows, start=head.rows + 1):
        full = {**row, "sequence": sequence, "place": row["place"] or sequence, "entered_us": now[0],
                "entered_offset_s": now[1], "clock_back_s": clock_back_s, "previous_hash": last}  # fmt: skip
        last = full["row_hash"] = row_hash(last, [full[name] for name in HASHED])
        done.append(full)
        clock_back_s = 0
    return done, Head(head.rows + len(done), last)


def entry_of(row: Mapping[Any, Any], place: str) -> Entry:
    """Return a row as an entry.

    Parameters
    ----------
    row : mapping
        All columns.
    place : str
        Name of the book, for the error.

    Raises
    ------
    StorageError
        If the row was damaged so that it cannot be read.
    """
    try:
        return Entry(
            row["sequence"], row["place"], row["kind"], row["furnace"], moment_of(row["at_us"], row["at_offset_s"]),
            _parsed(row["payload"]), row["entered_by"], moment_of(row["entered_us"], row["entered_offset_s"]),
            row["clock_back_s"], row["replaces"], row["reason"], row["previous_hash"], row["row_hash"],
        )  # fmt: skip
    except (TypeError, ValueError, OverflowError, RecursionError):
        raise storage_error(place, f"row {plain(row['sequence'], 30)} is damaged", GO_BACK) from None


def _parsed(text: str) -> dict[str, Any]:
    payload = json.loads(text)
    if not isinstance(payload, dict):
        raise ValueError(text)
    return payload


def _payload(kind: str, payload: Mapping[str, Any]) -> str:
    if not isinstance(payload, Mapping) or not payload or not all(isinstance(name, str) for name in payload):
        raise input_error(BOOK, kind, "holds nothing to keep", "names with values", "enter at least one value")
    try:
        text = canonical(dict(payload))
    except (TypeError, ValueError, RecursionError) as error:
        raise _unkept(kind, str(error)) from None
    if len(text) > MOST_LETTERS:
        raise _unkept(kind, f"it is {len(text)} letters long, at most {MOST_LETTERS} are kept")
    return text


def _unkept(kind: str, why: str) -> InputError:
    return input_error(BOOK, kind, f"cannot be kept ({why})", "", "give plain texts and finite numbers")


def _line(text: object, what: str, most: int) -> str:
    line = text.strip() if isinstance(text, str) else ""
    if not line:
        raise input_error(BOOK, what, "is missing", "", "give it; each row says who, and each correction why")
    if len(line) > most or not line.isprintable():
        raise input_error(BOOK, what, f"'{plain(line, 40)}' cannot be kept", f"one line of at most {most} letters",
                          "shorten it, without line ends")  # fmt: skip
    return line

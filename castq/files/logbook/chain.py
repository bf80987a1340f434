"""The hash chain: each row carries the hash of the row before, so that no row can be changed, moved or taken away."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from typing import Any

from castq.core.errors import input_error
from castq.files.logbook.entry import BOOK, NOTED_LETTERS, Head, VerifyResult

FIRST_HASH = "0" * 64
# Every column that is hashed, in this order; the two hashes follow in a row.
HASHED = ("sequence", "place", "kind", "furnace", "at_us", "at_offset_s", "payload", "entered_by", "entered_us",
          "entered_offset_s", "clock_back_s", "replaces", "reason")  # fmt: skip
_encode = json.JSONEncoder(ensure_ascii=True, separators=(",", ":"), allow_nan=False).encode
_PAYLOAD = json.JSONEncoder(ensure_ascii=True, separators=(",", ":"), allow_nan=False, sort_keys=True)


def canonical(payload: Any) -> str:
    """Return the one way in which a payload is written: keys sorted, no spaces, ASCII.

    Raises
    ------
    ValueError or TypeError
        If JSON does not know a value in it.
    """
    return _PAYLOAD.encode(payload)


def row_hash(previous_hash: str, values: Sequence[Any]) -> str:
    """Return the hash of a row.

    Parameters
    ----------
    previous_hash : str
        Hash of the row before.
    values : sequence
        Values of the columns `HASHED`.
    """
    return hashlib.sha256(_encode([previous_hash, *values]).encode("ascii")).hexdigest()


class Checker:
    """Walks along the chain, row by row, and stops at the first that is not as it was written.

    Attributes
    ----------
    rows : int
        Rows found good so far [-].
    """

    def __init__(self, noted: str | None = None) -> None:
        """Set up.

        Parameters
        ----------
        noted : str, optional
            A head noted outside the book earlier (`Head.note`).

        Raises
        ------
        InputError
            If it is not of that form.
        """
        self.rows = 0
        self._last = FIRST_HASH
        self._noted_row, self._noted_hash = _parsed(noted) if noted else (0, "")

    def fault_in(self, rows: Iterable[Sequence[Any]]) -> str:
        """Return what is wrong with the first bad row, empty when all are good.

        Parameters
        ----------
        rows : iterable of sequence
            Rows in their order: `HASHED`, previous hash, row hash.
        """
        for row in rows:
            fault = self._fault(row)
            if fault:
                return fault
            self.rows, self._last = self.rows + 1, row[-1]
        return ""

    def _fault(self, row: Sequence[Any]) -> str:
        expected = self.rows + 1
        *values, previous_hash, own_hash = row
        if values[0] != expected:
            return f"row {expected} is missing"
        try:
            as_written = row_hash(previous_hash, values) == own_hash
        except (TypeError, ValueError):
            as_written = False
        if not as_written:
            return f"row {expected} was altered after it was written"
        if previous_hash != self._last:
            return f"row {expected} does not follow the row before it: one of the two was moved or exchanged"
        if expected == self._noted_row and not own_hash.startswith(self._noted_hash):
            return f"row {expected} is not the one that was noted: the book was written anew up to there"
        return ""

    def result(self, fault: str, head: Head) -> VerifyResult:
        """Return the outcome.

        Parameters
        ----------
        fault : str
            From `fault_in`, or another reason to stop.
        head : Head
            End of the chain as the book states it.
        """
        if not fault:
            fault = self._fault_at_end(head)
        if fault:
            return VerifyResult(False, self.rows, self.rows + 1, f"{fault}; {self.rows} rows before it are good", head)
        return VerifyResult(
            True, self.rows, None, f"all {self.rows} rows are as they were written; head {head.note}", head
        )

    def _fault_at_end(self, head: Head) -> str:
        if head.rows > self.rows or self._noted_row > self.rows:
            return f"row {self.rows + 1} is missing: the book once held {max(head.rows, self._noted_row)} rows"
        if (head.rows, head.row_hash) != (self.rows, self._last):
            return f"the note of the last row, {head.note}, is not that of row {self.rows}"
        return ""


def _parsed(noted: str) -> tuple[int, str]:
    rows, _, letters = noted.strip().partition("-")
    good = rows.isdecimal() and len(rows) < 16 and len(letters) >= NOTED_LETTERS
    if not good or set(letters) - set("0123456789abcdef"):
        raise input_error(BOOK, "noted head", f"'{noted}' is none", "the number of rows, a dash and 16 letters 0-9 a-f",
                          "copy it as the log book showed it")  # fmt: skip
    return int(rows), letters

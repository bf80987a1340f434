"""Rows of the log book, checks and backups as plain text and as documents."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from castq.core.cautions import BY_COMMAND
from castq.core.errors import plain
from castq.report.lines import columns, line, wrapped
from castq.report.melt_exports import document
from castq.report.melt_text import bullets
from castq.report.melt_words import row_words, sign_of

# Entries, heads and checks are those of the log book, which this layer does not import.
Row = Any
Head = Any
Check = Any


def log_text(rows: Sequence[Row], book: str, head: Head) -> str:
    """Return rows of the log book as text.

    Parameters
    ----------
    rows : sequence of Entry
        The rows.
    book : str
        Name of the book.
    head : Head
        End of its chain.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    first = line(f"{plain(book, 60)}: {len(rows)} of {head.rows} rows; head {head.note}")
    cells = [("row", "when", "furnace", "kind", "what", "by")]
    for row in rows:
        what = row_words(row.kind, row.payload)
        if row.replaces is not None:
            what = f"(for row {row.replaces}: {row.reason}) {what}"
        cells.append((str(row.sequence), f"{row.at:%Y-%m-%d %H:%M}", row.furnace, row.kind, what, row.entered_by))
    return "\n".join([first, "", *columns(cells, (6, 16, 8, 11, 41, 10), " ")]) if rows else f"{first}\nno such row"


def entered_text(rows: Sequence[Row], book: str, head: Head) -> str:
    """Return what was written, in one line each, with the cautions of an addition.

    Parameters
    ----------
    rows : sequence of Entry
        The new rows.
    book : str
        Name of the book.
    head : Head
        End of its chain.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    lines = []
    for row in rows:
        place = f" (stands for row {row.replaces})" if row.replaces is not None else ""
        lines.append(wrapped(f"written: row {row.sequence}{place}, {row.kind}, {row_words(row.kind, row.payload)}"))
    if any(row.kind == "addition" for row in rows):
        lines += bullets(BY_COMMAND["additions"], "  ! ")
    return "\n".join([*lines, line(f"{plain(book, 60)}: {head.rows} rows; head {head.note}")])


def entries_to_dict(name: str, rows: Sequence[Row], book: str, head: Head) -> dict[str, Any]:
    """Return rows of the log book as a document."""
    shown = [{key: getattr(row, key) for key in ("sequence", "place", "kind", "furnace", "at", "payload", "entered_by",
                                                 "entered_at", "replaces", "reason", "row_hash")}
             for row in rows]  # fmt: skip
    cautions = BY_COMMAND["additions"] if any(row.kind == "addition" for row in rows) and name == "entry" else ()
    return document(name, {"book": book, "rows": shown, "rows_in_book": head.rows, "head": head.note,
                           "cautions": cautions})  # fmt: skip


def verify_text(result: Check, book: str) -> str:
    """Return the outcome of a check of the book as text."""
    look = "pass" if result.ok else "fails"
    told = [f"{sign_of(look)} {plain(book, 60)}: {result.words}"]
    told.append("Note the head outside the book: with --noted HEAD a later check proves that nothing before it changed."
                if result.ok else "Keep this file as it is, and go back to the last backup.")  # fmt: skip
    return "\n".join(wrapped(text) for text in told)


def verify_to_dict(result: Check, book: str) -> dict[str, Any]:
    """Return the outcome of a check of the book as a document."""
    return document("check", {"book": book, "ok": result.ok, "rows": result.rows, "fault_row": result.fault_row,
                              "words": result.words, "head": result.head.note})  # fmt: skip


def backup_text(path: Path, rows: int, note: str, book: str) -> str:
    """Return that a copy was written."""
    return wrapped(f"copied {plain(book, 60)} to {plain(path, 100)}: {rows} rows, checked; head {note}")


# How many refused rows are told one by one.
_MOST_TOLD = 20


def import_text(result: Any, book: str) -> str:
    """Return the outcome of an import as text.

    Parameters
    ----------
    result : ImportResult
        The outcome.
    book : str
        Name of the book; empty when nothing was to be written.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    look = "fails" if result.refused else "pass"
    where = f"; rows {result.sequences[0]} to {result.sequences[1]} of {plain(book, 60)}" if result.sequences else ""
    lines = [wrapped(f"{sign_of(look)} {plain(result.input.name, 60)}: {result.words}{where}")]
    lines += bullets([str(fault) for fault in result.faults[:_MOST_TOLD]], "  x ")
    if len(result.faults) > _MOST_TOLD:
        lines.append(f"  ... and {len(result.faults) - _MOST_TOLD} more reasons (--json tells all)")
    lines += bullets([f"row {d.row}: the same as {d.same_as}" for d in result.duplicates[:5]], "  = ")
    return "\n".join(lines)


def import_to_dict(result: Any, book: str) -> dict[str, Any]:
    """Return the outcome of an import as a document."""
    names = ("rows", "written", "held_back", "empty", "kinds", "refused", "duplicates", "sequences", "words")
    return document("import", {"book": book, "input": result.input, **{n: getattr(result, n) for n in names}})

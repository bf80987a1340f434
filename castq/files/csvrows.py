"""CSV as rows of text: encoding, separator and quotes settled before any cell is looked at."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

from castq.core.errors import plain
from castq.files.source import Source

MOST_ROWS = 2000
MOST_COLUMNS = 60
_SEPARATORS = {";": "semicolon", "\t": "tab", ",": "comma"}
_UTF16 = (b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number in the file (counted from 1) and its cells as text."""

    number: int
    cells: tuple[str, ...]


def csv_rows(source: Source) -> tuple[list[Row], tuple[str, ...], str]:
    """Return the rows of a CSV file that are not blank, warnings, and the separator.

    `#` lines at the head are passed over. The separator is the semicolon or the tab when the first row holds one,
    else the comma.

    Parameters
    ----------
    source : Source
        The file.

    Raises
    ------
    InputError
        If the encoding is not UTF-8 or marked UTF-16, or a quote is not closed.
    """
    text, warnings = _text(source)
    rows, separator = rows_of_text(source, text)
    if separator != ",":
        warnings += (f"cells are separated by {_SEPARATORS[separator]}s; decimal commas are read as such",)
    return rows, warnings, separator


def _text(source: Source) -> tuple[str, tuple[str, ...]]:
    data = source.data
    if data.startswith(_UTF16):
        try:
            return data.decode("utf-16"), ("text is UTF-16; read as such",)
        except UnicodeDecodeError:
            raise source.error("", "is damaged UTF-16 text", "UTF-8", "save it as CSV UTF-8") from None
    if b"\0" in data:
        line = 1 + data.count(b"\n", 0, data.index(b"\0"))
        raise source.error(
            f"row {line}", "holds a NUL byte (binary, damaged or UTF-16 without mark)", "text", "save it as CSV UTF-8"
        )
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError as fault:
        line = 1 + data.count(b"\n", 0, fault.start)
        raise source.error(
            f"row {line}",
            f"byte 0x{data[fault.start]:02X} is not UTF-8 (Latin-1 or Windows text?)",
            "UTF-8",
            "save it as CSV UTF-8",
        ) from None


def rows_of_text(
    source: Source, text: str, separator: str = "", most_rows: int = MOST_ROWS, expected: str = "a table of sections"
) -> tuple[list[Row], str]:
    """Return the rows that are not blank, without the `#` lines at the head, and the separator.

    Parameters
    ----------
    source : Source
        The file, for messages.
    text : str
        Its text.
    separator : str
        What separates cells; empty to take it from the first row.
    most_rows : int
        Most rows that are read [-].
    expected : str
        What such a file should be, for the message when it has more.

    Raises
    ------
    InputError
        If a quote is not closed, a cell is too long, or there are too many rows.
    """
    lines = io.StringIO(text, newline=None).read().split("\n")
    first = next((n for n, line in enumerate(lines) if line.strip() and not line.lstrip().startswith("#")), len(lines))
    head = lines[first] if first < len(lines) else ""
    separator = separator or next((mark for mark in _SEPARATORS if mark in head), ",")
    reader = csv.reader((line + "\n" for line in lines[first:]), delimiter=separator, strict=True)
    rows: list[Row] = []
    start = first + 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append(Row(start, tuple(cells)))
            start = first + 1 + reader.line_num
            if len(rows) > most_rows:
                raise source.error("", f"has more than {most_rows:,} rows", expected, "check the file")
    except csv.Error as fault:
        opens = "a quote opens here and is never closed" if "unexpected end" in str(fault) else plain(fault)
        raise source.error(f"row {start}", opens, "quotes in pairs", "close or remove the quote") from None
    return rows, separator

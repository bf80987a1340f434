"""Small tables of text: CSV and XLSX become the same rows of text cells, every structural fault named with its row."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

from castq.core.errors import Fault, InputError, plain
from castq.files.source import Source, read_source, real_type

MOST_BYTES = 5_000_000
MOST_ROWS = 2000
MOST_COLUMNS = 60
_SEPARATORS = {";": "semicolon", "\t": "tab", ",": "comma"}
_UTF16 = (b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number in the file (counted from 1) and its cells as text."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table of text.

    Attributes
    ----------
    source : Source
        The file.
    header : tuple of str
        First row, as written.
    rows : tuple of Row
        The rest, each as wide as the header.
    faults : tuple of Fault
        Structural faults; rows that have one are left out of `rows`.
    warnings : tuple of str
        What the reader had to say.
    """

    source: Source
    header: tuple[str, ...]
    rows: tuple[Row, ...]
    faults: tuple[Fault, ...]
    warnings: tuple[str, ...]


def read_table(path: Path, sheet: str | None = None) -> Table:
    """Return a CSV or XLSX file as text.

    A CSV may start with `#` lines. Its separator is the semicolon or the tab when the header holds one, else the
    comma.

    Parameters
    ----------
    path : Path
        The file.
    sheet : str, optional
        Sheet of a workbook; needed when there are several.

    Raises
    ------
    InputError
        If the file cannot be read as a table at all.
    """
    source = read_source(path, MOST_BYTES)
    kind = real_type(source.data)
    if kind == "old Office (.doc, .xls)":
        raise source.error(
            "",
            "is an old .xls file or a workbook with a password",
            "CSV or XLSX",
            "save it as .xlsx without a password, or as CSV UTF-8",
        )
    ending = path.suffix.lower()
    wanted = {".csv": "", ".xlsx": "ZIP"}.get(ending)
    if wanted is None:
        raise source.error("", f"ending '{ending}' is not a table castq reads", ".csv or .xlsx", "save it as CSV UTF-8")
    if kind != wanted:
        raise source.error(
            "",
            f"is not {ending[1:].upper()}: its content is {kind or 'text'}",
            "content that fits the ending",
            "give the file its right ending or save it again",
        )
    if ending == ".xlsx":
        from castq.files.workbook import workbook_rows

        return _table(source, workbook_rows(source, sheet), (), ",")
    text, warnings = _text(source)
    rows, separator = _csv_rows(source, text)
    if separator != ",":
        warnings += (f"cells are separated by {_SEPARATORS[separator]}s; decimal commas are read as such",)
    return _table(source, rows, warnings, separator)


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


def _csv_rows(source: Source, text: str) -> tuple[list[Row], str]:
    """Return the rows that are not blank, without the `#` lines at the head, and the separator."""
    lines = io.StringIO(text, newline=None).read().split("\n")
    first = next((n for n, line in enumerate(lines) if line.strip() and not line.lstrip().startswith("#")), len(lines))
    head = lines[first] if first < len(lines) else ""
    separator = next((mark for mark in _SEPARATORS if mark in head), ",")
    reader = csv.reader((line + "\n" for line in lines[first:]), delimiter=separator, strict=True)
    rows: list[Row] = []
    start = first + 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append(Row(start, tuple(cells)))
            start = first + 1 + reader.line_num
            if len(rows) > MOST_ROWS:
                raise source.error("", f"has more than {MOST_ROWS:,} rows", "a table of sections", "check the file")
    except csv.Error as fault:
        opens = "a quote opens here and is never closed" if "unexpected end" in str(fault) else plain(fault)
        raise source.error(f"row {start}", opens, "quotes in pairs", "close or remove the quote") from None
    return rows, separator


def _table(source: Source, rows: list[Row], warnings: tuple[str, ...], separator: str) -> Table:
    if not rows:
        raise source.error("", "has no rows", "a header and at least one row", "fill the table")
    if len(rows) == 1:
        raise source.error(
            f"row {rows[0].number}",
            "is the only row",
            "a header and at least one row",
            "add the zones below the header",
        )
    header = tuple(cell.strip() for cell in rows[0].cells)
    while header and not header[-1]:
        header = header[:-1]
    if len(header) > MOST_COLUMNS:
        raise source.error("header", f"has {len(header)} columns", f"at most {MOST_COLUMNS}", "check the separator")
    good, faults = [], []
    for row in rows[1:]:
        cells = tuple(" ".join(cell.split()) for cell in row.cells)
        while len(cells) > len(header) and not cells[-1]:
            cells = cells[:-1]
        if len(cells) == len(header):
            good.append(Row(row.number, cells))
        else:
            faults.append(_width_fault(source, row, len(cells), len(header), separator))
    return Table(source, header, tuple(good), tuple(faults), warnings)


def _width_fault(source: Source, row: Row, found: int, wanted: int, separator: str) -> Fault:
    longer = found > wanted
    mend = "add the missing cells, empty ones too"
    if longer:
        mend = "remove the extra cells"
        if separator == ",":
            mend = "a decimal comma cuts a number in two: write a decimal point, or separate cells by semicolons"
    return Fault(
        source.name, f"row {row.number}", f"has {found} cells, the header has {wanted}", f"{wanted} cells", mend
    )


def raise_faults(faults: list[Fault]) -> None:
    """Raise all faults at once, in the order of the file, if there are any."""
    if faults:
        raise InputError(faults)

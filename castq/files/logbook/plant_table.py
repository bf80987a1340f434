"""A plant's table as rows of text: encoding and separator as stated, header checked, structural faults by row."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from castq.core.errors import Fault, InputError, nearest, plain
from castq.files.csvrows import Row, rows_of_text
from castq.files.logbook.mapping import TableMapping
from castq.files.source import Source, read_source, real_type
from castq.files.workbook import Why, workbook_rows

MOST_BYTES = 100_000_000
MOST_ROWS, MOST_WORKBOOK_ROWS = 200_000, 20_000
MOST_LINE = 20_000
# A NUL can stand in no cell of a text file; here it marks a cell of a workbook that holds no value, and the reason.
UNREADABLE = "\0"
_EXPECTED = "a table of melts"


@dataclass(frozen=True, slots=True, eq=False)
class PlantTable:
    """A plant's table.

    Attributes
    ----------
    source : Source
        The file.
    at : mapping of str to int
        Place of each column.
    rows : tuple of Row
        Rows as wide as the header.
    ragged : tuple of (int, str)
        Number and fault of each row that is not.
    """

    source: Source
    at: Mapping[str, int]
    rows: tuple[Row, ...]
    ragged: tuple[tuple[int, str], ...]


def read_plant_table(path: Path, mapping: TableMapping) -> PlantTable:
    """Return a CSV or XLSX file as text, read as the mapping says.

    Parameters
    ----------
    path : Path
        The file.
    mapping : TableMapping
        Its encoding, separator or sheet, and the columns that must be there.

    Raises
    ------
    InputError
        If the file cannot be read as the mapping says, or a column is missing or there twice.
    """
    source = read_source(path, MOST_BYTES)
    if check_kind(source) == ".xlsx":
        rows = workbook_rows(source, mapping.sheet, MOST_WORKBOOK_ROWS, _Cells(mapping).text, "melts")
    else:
        for key, value in (("encoding", mapping.encoding), ("separator", mapping.separator)):
            if not value:
                raise source.error("", f"the mapping {mapping.name} does not state its {key}", "",
                                   f'add {key} = "..." under [file]')  # fmt: skip
        text = decoded(source, mapping.encoding)
        rows, _ = rows_of_text(source, text, mapping.separator, MOST_ROWS, _EXPECTED)
    if len(rows) < 2:
        raise source.error("", "has no rows below the header" if rows else "has no rows", "a header and rows",
                           "export the table again")  # fmt: skip
    return _table(source, rows, mapping)


def check_kind(source: Source) -> str:
    """Return the ending of a table's file, `.csv` or `.xlsx`, after a look at what it holds.

    Raises
    ------
    InputError
        If it is neither, or its content does not fit.
    """
    ending, kind = source.path.suffix.lower(), real_type(source.data)
    wanted = {".csv": "", ".txt": "", ".xlsx": "ZIP"}.get(ending)
    if wanted is None:
        raise source.error("", f"ending '{ending}' is not a table castq reads", ".csv or .xlsx", "save it as one")
    if kind != wanted:
        found = f"is not {ending[1:].upper()}: its content is {kind or 'text'}"
        raise source.error("", found, "content that fits the ending", "give the file its right ending or save it again")
    return ".xlsx" if wanted else ".csv"


def decoded(source: Source, encoding: str) -> str:
    """Return the text of a file in an encoding.

    Parameters
    ----------
    source : Source
        The file.
    encoding : str
        What the mapping states.

    Raises
    ------
    InputError
        If a byte does not fit, or the text holds a NUL or an endless line.
    """
    try:
        text = source.data.decode(encoding)
    except UnicodeDecodeError as fault:
        row = 1 + source.data.count(b"\n", 0, fault.start)
        raise source.error(f"row {row}, byte {fault.start}",
                           f"0x{source.data[fault.start]:02X} is not {encoding}, as the mapping says",
                           f"text in {encoding}", "state the encoding in which it was saved") from None  # fmt: skip
    if text.startswith("\ufeff"):
        if encoding != "utf-8":
            raise source.error("row 1", "begins with a mark of UTF-8 or UTF-16", f"text in {encoding}",
                               "state the encoding in which it was saved")  # fmt: skip
        text = text[1:]
    if "\0" in text or "ï»¿" == text[:3]:
        row = 1 + text.count("\n", 0, max(0, text.find("\0")))
        found = "holds a NUL" if "\0" in text else "begins with the mark of UTF-8 text"
        raise source.error(f"row {row}", f"{found}: damaged, or not {encoding}", "text",
                           "state the encoding in which it was saved, or export it again")  # fmt: skip
    longest = max(text.splitlines(), key=len, default="")
    if len(longest) > MOST_LINE:
        row = 1 + text.count("\n", 0, text.index(longest))
        raise source.error(f"row {row}", f"is {len(longest):,} characters long", f"at most {MOST_LINE:,}",
                           "export the table again, with one line for each row")  # fmt: skip
    return text


class _Cells:
    """Cells of a workbook as the plant would type them: numbers with its mark, dates in its format."""

    def __init__(self, mapping: TableMapping) -> None:
        self.mark, self.formats = mapping.mark, mapping.time.formats

    def text(self, shown: Any, written: Any) -> tuple[str, Why | None]:
        """Return a cell as text; what holds no value is marked as unreadable, so that only its row is refused."""
        value = shown.value
        if value is None:
            return (f"{UNREADABLE}a formula whose value was never stored" if written.data_type == "f" else ""), None
        if shown.data_type == "e":
            return f"{UNREADABLE}the error value {value}", None
        if isinstance(value, datetime.date):
            return value.strftime(self.formats[0]), None
        if isinstance(value, datetime.time) and len(self.formats) == 2:
            return value.strftime(self.formats[1]), None
        if isinstance(value, datetime.time | datetime.timedelta):
            return f"{UNREADABLE}a time of day or a span of time, {value}", None
        if isinstance(value, float):
            return f"{value:.15g}".replace(".", self.mark), None
        return str(value), None


def _table(source: Source, rows: list[Row], mapping: TableMapping) -> PlantTable:
    header = [" ".join(cell.split()) for cell in rows[0].cells]
    while header and not header[-1]:
        header = header[:-1]
    faults = []
    for name in mapping.columns:
        count = header.count(name)
        if count != 1:
            found = f"column '{name}' is there {count} times" if count else f"column '{name}' is missing"
            mend = "rename all but one" if count else _mend(name, header)
            faults.append(Fault(source.name, "header", found, f"as {mapping.name} says", mend))
    if faults:
        raise InputError(faults)
    width, good, ragged = len(header), [], []
    for row in rows[1:]:
        cells = row.cells
        while len(cells) > width and not cells[-1].strip():
            cells = cells[:-1]
        if len(cells) == width:
            good.append(Row(row.number, cells))
        else:
            ragged.append((row.number, _width_words(len(cells), width, mapping)))
    return PlantTable(source, {name: at for at, name in enumerate(header)}, tuple(good), tuple(ragged))


def _mend(name: str, header: list[str]) -> str:
    if len(header) == 1:
        return f"the header is one cell, '{plain(header[0], 60)}': state the separator that it really has"
    return nearest(name, [plain(cell, 40) for cell in header[:30] if cell])


def _width_words(found: int, width: int, mapping: TableMapping) -> str:
    mend = "remove the extra cells" if found > width else "add the missing cells, empty ones too"
    if found > width and mapping.separator == ",":
        mend = "a comma inside a number or text cuts it in two: separate cells by semicolons, or put it in quotes"
    return f"has {found} cells, the header has {width}; {mend}"

"""XLSX as rows of text: values only, and nothing that a spreadsheet program would have to work out first."""

from __future__ import annotations

import datetime
import io
import zipfile
import zlib
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from castq.core.errors import Fault, InputError, nearest, plain
from castq.files.csvrows import MOST_COLUMNS, MOST_ROWS, Row
from castq.files.source import Source

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook

_MOST_UNPACKED = 50_000_000
SAVE = "open it in a spreadsheet program and save it again as .xlsx"
Why = tuple[str, str, str]
# From a cell with its value, and the same cell as it was written, to its text and what is wrong with it.
CellText = Callable[[Any, Any], tuple[str, Why | None]]


def workbook_rows(
    source: Source,
    sheet: str | None,
    most_rows: int = MOST_ROWS,
    cell_text: CellText | None = None,
    usual_sheet: str = "sections",
) -> list[Row]:
    """Return the rows of one sheet that are not blank, without the `#` rows at the head.

    Parameters
    ----------
    source : Source
        The file.
    sheet : str or None
        Name of the sheet; may be None when there is only one with content, or one of the usual name.
    most_rows : int
        Most rows that are read [-].
    cell_text : callable, optional
        How a cell becomes text, when not in the way of this module.
    usual_sheet : str
        Name of the sheet that is taken when there are several.

    Raises
    ------
    InputError
        If the workbook is damaged, the sheet is not clear, or a cell holds a formula without a value, an error, a
        date, or is merged.
    """
    values, formulas = _open(source, values=True), _open(source, values=False)
    name = _sheet_name(source, values, sheet, usual_sheet)
    as_text = cell_text or _cell_text
    shown, written = values[name], formulas[name]
    if shown.max_row > most_rows or shown.max_column > MOST_COLUMNS:
        raise source.error(
            f"sheet {name}",
            f"has {shown.max_row:,} rows and {shown.max_column:,} columns",
            f"at most {most_rows:,} and {MOST_COLUMNS}",
            "delete everything but the table",
        )
    faults = [
        Fault(source.name, f"sheet {name}, {merged}", "cells are merged", "one value a cell", "unmerge the cells")
        for merged in sorted(str(area) for area in written.merged_cells.ranges)
    ]
    rows: list[Row] = []
    for number, cells in enumerate(shown.iter_rows(), 1):
        texts = []
        for column, cell in enumerate(cells, 1):
            text, why = as_text(cell, written.cell(number, column))
            texts.append(text)
            if why:
                faults.append(Fault(source.name, f"row {number}, cell {cell.coordinate}", *why))
        if any(text.strip() for text in texts) and (rows or not texts[0].lstrip().startswith("#")):
            rows.append(Row(number, tuple(texts)))
    if faults:
        raise InputError(faults)
    return rows


def _open(source: Source, values: bool) -> Workbook:
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with zipfile.ZipFile(io.BytesIO(source.data)) as archive:
            total = sum(entry.file_size for entry in archive.infolist())
            if total > _MOST_UNPACKED:
                raise source.error(
                    "archive", f"unpacks to {total:,} bytes", f"at most {_MOST_UNPACKED:,}", "do not trust this file"
                )
        return openpyxl.load_workbook(io.BytesIO(source.data), data_only=values, keep_links=False)
    except InputError:
        raise
    except (
        zipfile.BadZipFile,
        zlib.error,
        InvalidFileException,
        OSError,
        EOFError,
        KeyError,
        ValueError,
        TypeError,
        AttributeError,
        IndexError,
        RuntimeError,
        NotImplementedError,
        SyntaxError,
    ) as fault:  # what the library lets through from a damaged archive, XML or style table
        raise source.error(
            "", f"is not a whole workbook ({type(fault).__name__}: {plain(fault, 60)})", "XLSX", SAVE
        ) from None


def _sheet_name(source: Source, workbook: Workbook, wanted: str | None, usual: str) -> str:
    filled = [sheet.title for sheet in workbook.worksheets if sheet.max_row > 1 or sheet.cell(1, 1).value is not None]
    if wanted is not None:
        if wanted in workbook.sheetnames:
            return wanted
        raise source.error("", f"has no sheet '{wanted}'", "", nearest(wanted, workbook.sheetnames))
    if len(filled) == 1:
        return filled[0]
    if usual in filled:
        return usual
    if not filled:
        raise source.error("", "has no rows", "a header and at least one row", "fill the table")
    raise source.error(
        "",
        f"has {len(filled)} filled sheets: {', '.join(filled)}",
        "one",
        f"name the one that is meant '{usual}', or give its name",
    )


def _cell_text(shown: Any, written: Any) -> tuple[str, Why | None]:
    """Return a cell as text, and what is wrong with it as (found, expected, mend)."""
    value = shown.value
    if value is None:
        if written.data_type == "f":
            return "?", ("a formula whose value was never stored", "a value", SAVE)
        return "", None
    if shown.data_type == "e":
        return "?", (f"the error value {value}", "a value", "mend the formula in the spreadsheet")
    if isinstance(value, datetime.date | datetime.time | datetime.timedelta):
        return "?", (
            f"a date or time ({value})",
            "a number or text",
            "the spreadsheet took a number for a date: format the cell as text and type it again",
        )
    if isinstance(value, float):
        return f"{value:.15g}", None
    return str(value), None

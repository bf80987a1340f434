"""Small tables of text: CSV and XLSX become the same rows of text cells, every structural fault named with its row."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from castq.core.errors import Fault
from castq.files.csvrows import MOST_COLUMNS, Row, csv_rows
from castq.files.source import Source, read_source, real_type
from castq.files.workbook import workbook_rows

MOST_BYTES = 5_000_000


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
        return _table(source, workbook_rows(source, sheet), (), ",")
    return _table(source, *csv_rows(source))


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

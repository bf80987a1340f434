"""Results for other programs: JSON documents, the zone table as CSV and as a workbook.

Text never becomes a formula, a missing number is null or an empty cell, and the same result gives the same bytes.
"""

from __future__ import annotations

import csv
import io
import math
import re
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from castq import __version__
from castq.core.cautions import BANNER, cautions_for
from castq.core.errors import plain
from castq.core.nomenclature import SCHEMA_VERSION
from castq.core.relation import REGISTRY
from castq.report.hydrogen import room_document
from castq.screening.columns import BY_NAME, COLUMNS
from castq.screening.solid_records import SolidSummary
from castq.screening.types import Case, Check, Comparison, Screening

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

DIGITS = 6
# A spreadsheet takes text that starts like this for a formula, also in the full-width form of East Asian keyboards.
_FORMULA = re.compile(r"^\s*[=+\-@＝＋－＠]")
_ZIP_DATE = (1980, 1, 1, 0, 0, 0)


def rounded(value: float) -> float | None:
    """Return a number at six significant digits; None where it is not finite."""
    x = float(value)
    return float(f"{x:.{DIGITS}g}") if math.isfinite(x) else None


def _jsonable(value: Any) -> Any:
    """Return plain data for JSON: numbers rounded, mappings sorted by key, anything else as text."""
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return rounded(float(value))
    if isinstance(value, Mapping):
        return {str(key): _jsonable(value[key]) for key in sorted(value, key=str)}
    if isinstance(value, list | tuple):
        return [_jsonable(item) for item in value]
    return value if value is None else str(value)


def table_columns() -> tuple[str, ...]:
    """Return the columns of an exported zone table: each quantity, followed by its p10 and p90 where it has them."""
    names: list[str] = []
    for column in COLUMNS:
        names.append(column.name)
        if column.predicted:
            names += [f"{column.name}_p10", f"{column.name}_p90"]
    return tuple(names)


def zone_records(screening: Screening) -> list[dict[str, Any]]:
    """Return the zone table as dicts of plain values, None for a missing one."""
    rows = []
    for record in screening.zones.to_dict("records"):
        row: dict[str, Any] = {}
        for name in table_columns():
            value = record.get(name)
            text = name in BY_NAME and BY_NAME[name].unit == ""
            row[name] = (None if value is None else str(value)) if text else _number(value)
        rows.append(row)
    return rows


def _number(value: Any) -> float | None:
    return None if value is None else rounded(float(value))


def _check(check: Check) -> dict[str, Any]:
    return {name: _jsonable(getattr(check, name)) for name in sorted(Check.__slots__)}


def _case(case: Case) -> dict[str, Any]:
    scalars = {k: v for k, v in case.shape.items() if isinstance(v, bool | int | float | str)}
    tool = {name: getattr(case.tool, name) for name in case.tool.__slots__ if name not in ("die", "coating")}
    return {
        "name": case.name,
        "alloy": case.alloy.id,
        "die": case.tool.die.id,
        "melt": _jsonable(asdict(case.melt)),
        "tool": _jsonable(tool),
        "treatment": _jsonable(asdict(case.treatment)),
        "sections": [_jsonable(asdict(section)) for section in case.sections],
        "limits": [_jsonable(asdict(limit)) for limit in case.limits],
        "shape": _jsonable(scalars),
    }


def _relations(ids: Iterable[str]) -> list[dict[str, Any]]:
    rows = []
    for name in sorted(set(ids)):
        card = REGISTRY.get(name)
        rows.append({
            "id": name, "title": card.title if card else None, "source": card.source if card else None,
            "provenance": card.provenance if card else None, "closure": card.closure if card else None,
        })  # fmt: skip
    return rows


def screening_to_dict(screening: Screening) -> dict[str, Any]:
    """Return a screening as one JSON document, as `schemas/screen.schema.json` describes it.

    Parameters
    ----------
    screening : Screening
        The result.

    Returns
    -------
    dict
        Plain data: no NaN, numbers at six significant digits, fixed order.
    """
    return {
        "schema": "castq screening",
        "schema_version": SCHEMA_VERSION,
        "banner": BANNER,
        "verdict": screening.verdict,
        "probability_ok": rounded(screening.probability_ok),
        "case": _case(screening.case),
        "columns": [
            {"name": c.name, "unit": c.unit, "label": c.label, "predicted": c.predicted, "better": c.better,
             "meaning": c.meaning}
            for c in COLUMNS
        ],
        "depth": screening.depth,
        "solid": None if screening.solid is None else _solid(screening.solid),
        "hydrogen_room": _jsonable(room_document(screening.hydrogen_room)),
        "zones": zone_records(screening),
        "checks": [_check(check) for check in screening.checks],
        "drivers": [_jsonable(asdict(driver)) for driver in screening.drivers],
        "warnings": list(screening.warnings),
        "cautions": list(dict.fromkeys((*screening.cautions, *cautions_for("screen")))),
        "provenance": {
            "castq_version": __version__,
            "seed": screening.seed,
            "draws": screening.draws,
            "inputs": [asdict(item) for item in screening.case.inputs],
            "calibration": _jsonable(asdict(screening.case.calibration)),
            "defaults_used": list(screening.case.defaults_used),
            "relations": _relations(screening.relations),
        },
    }  # fmt: skip


def _solid(summary: SolidSummary) -> dict[str, Any]:
    """Return what was solved as plain data; places by radius, height and angle as well."""
    document: dict[str, Any] = _jsonable(asdict(summary))
    for name in ("islands", "regions"):
        for row, own in zip(document[name], getattr(summary, name), strict=True):
            row |= {place: rounded(getattr(own, place)) for place in ("radius_mm", "height_mm", "angle_deg")}
    return document


def comparison_to_dict(comparison: Comparison) -> dict[str, Any]:
    """Return a comparison as one JSON document, as `schemas/compare.schema.json` describes it.

    Parameters
    ----------
    comparison : Comparison
        The result.

    Returns
    -------
    dict
        Plain data; both screenings are inside as `a` and `b`.
    """
    return {
        "schema": "castq comparison",
        "schema_version": SCHEMA_VERSION,
        "banner": BANNER,
        "verdict": comparison.verdict,
        "differences": [_jsonable(asdict(d)) for d in comparison.differences],
        "only_in_a": list(comparison.only_in_a),
        "only_in_b": list(comparison.only_in_b),
        "warnings": list(comparison.warnings),
        "cautions": list(cautions_for("compare")),
        "a": screening_to_dict(comparison.a),
        "b": screening_to_dict(comparison.b),
    }


def safe_text(text: object) -> str:
    """Return text for a CSV cell: one line, with a leading apostrophe where a spreadsheet would see a formula."""
    line = plain(text, 1000)
    return "'" + line if _FORMULA.match(line) else line


def zone_table_csv(screening: Screening) -> str:
    """Return the zone table as CSV text with units in the column names; empty where a number is missing.

    Parameters
    ----------
    screening : Screening
        The result.

    Returns
    -------
    str
        CSV, comma and decimal point, lines ending in a line feed.
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(table_columns())
    for row in zone_records(screening):
        cells = ("" if v is None else safe_text(v) if isinstance(v, str) else f"{v:.{DIGITS}g}" for v in row.values())
        writer.writerow(cells)
    return buffer.getvalue()


def zone_table_xlsx(screening: Screening) -> bytes:
    """Return a workbook with the zone table, every check, and the cautions; text is text, numbers are numbers.

    Parameters
    ----------
    screening : Screening
        The result.

    Returns
    -------
    bytes
        XLSX.
    """
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.worksheets[0])
    _fill(book.create_sheet("zones"), table_columns(), (row.values() for row in zone_records(screening)))
    checks = [_check(check) for check in screening.checks]
    heads = ("zone", "role", "quantity", "operator", "limit", "unit", "median", "p10", "p90", "probability_ok",
             "verdict", "house_default", "comment")  # fmt: skip
    _fill(book.create_sheet("checks"), heads, ([check[name] for name in heads] for check in checks))
    notes = [("caution", text) for text in dict.fromkeys((*screening.cautions, *cautions_for("screen")))]
    notes += [("warning", text) for text in screening.warnings]
    notes += [("default", text) for text in screening.case.defaults_used]
    _fill(book.create_sheet("notes"), ("kind", "text"), notes)
    buffer = io.BytesIO()
    book.save(buffer)
    return _undated(buffer.getvalue())


def _fill(sheet: Worksheet, heads: Iterable[str], rows: Iterable[Iterable[Any]]) -> None:
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    for column, name in enumerate(heads, start=1):
        _put(sheet, 1, column, name).font = Font(bold=True)
        sheet.column_dimensions[get_column_letter(column)].width = max(11, min(26, len(str(name)) + 2))
    for number, row in enumerate(rows, start=2):
        for column, value in enumerate(row, start=1):
            _put(sheet, number, column, value)
    sheet.freeze_panes = "B2"


def _put(sheet: Worksheet, row: int, column: int, value: Any) -> Any:
    cell = sheet.cell(row, column)
    if isinstance(value, str):
        cell.value = plain(value, 1000)
        cell.data_type = "s"
    elif value is not None:
        cell.value = value
    return cell


def _undated(book: bytes) -> bytes:
    """Return the workbook without the moment of writing, so that equal results are equal files."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in sorted(old.namelist()):
            content = old.read(name)
            if name == "docProps/core.xml":
                content = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", b"1980-01-01T00:00:00Z", content)
            new.writestr(zipfile.ZipInfo(name, _ZIP_DATE), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()

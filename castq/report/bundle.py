"""Everything a command leaves in its folder: report, figures, tables, JSON and fields."""

from __future__ import annotations

import json
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castq.report import exports, vti
from castq.report.html import comparison_html, screening_html
from castq.report.pictures import comparison_pictures, screening_pictures
from castq.report.solid_report import joined, solid_files
from castq.screening.fields import WheelFields
from castq.screening.types import Comparison, Screening

if TYPE_CHECKING:
    from castq.screening.solid import SolidDepth


def write_screening_bundle(
    folder: Path,
    screening: Screening,
    fields: WheelFields | None,
    *,
    solid: SolidDepth | None = None,
    pictures: bool = True,
) -> None:
    """Write a screening's files into a folder that exists.

    Parameters
    ----------
    folder : Path
        A staged folder; the caller moves it into place.
    screening : Screening
        The result.
    fields : WheelFields or None
        The wheel's shape with its results, when the design came from a shape.
    solid : SolidDepth, optional
        The solved freezing of the shape, at solid depth; its fields are written as npz too.
    pictures : bool
        Whether to draw figures and the three-dimensional view.
    """
    fields = fields if fields is None else joined(fields, solid)
    with ThreadPoolExecutor() as pool:
        # Packing leaves the interpreter free for the rest.
        packed = {} if fields is None else {"fields.vti": pool.submit(vti.vti_bytes, fields)}
        if fields is not None and solid is not None:
            packed["fields.npz"] = pool.submit(vti.npz_bytes, fields)
        files = _screening_files(screening, fields, solid, pictures=pictures)
    _write(folder, {**files, **{name: work.result() for name, work in packed.items()}})


def _screening_files(
    screening: Screening, fields: WheelFields | None, solid: SolidDepth | None, *, pictures: bool
) -> dict[str, str | bytes | None]:
    """Return the report, the tables and the pictures by file name."""
    drawn = screening_pictures(screening, fields, solid) if pictures else {}
    return {
        "report.html": screening_html(screening, fields, drawn, solid),
        "screening.json": _json(exports.screening_to_dict(screening)),
        "zones.csv": exports.zone_table_csv(screening),
        "zones.xlsx": exports.zone_table_xlsx(screening),
        **{f"{name}.png": png for name, png in drawn.items()},
        **solid_files(screening),
    }


def write_comparison_bundle(
    folder: Path,
    comparison: Comparison,
    fields: tuple[WheelFields | None, WheelFields | None],
    *,
    solids: tuple[SolidDepth | None, SolidDepth | None] = (None, None),
    pictures: bool = True,
) -> None:
    """Write a comparison's files into a folder; it is made when it does not exist.

    Parameters
    ----------
    folder : Path
        A staged folder; the caller moves it into place.
    comparison : Comparison
        The result.
    fields : tuple of WheelFields or None
        The two shapes with their results.
    solids : tuple of SolidDepth or None
        The solved freezing of both, at solid depth.
    pictures : bool
        Whether to draw figures and the three-dimensional view.
    """
    a, b = (one if one is None else joined(one, solid) for one, solid in zip(fields, solids, strict=True))
    drawn = comparison_pictures(comparison, a, b, solids) if pictures else {}
    _write(folder, {
        "report.html": comparison_html(comparison, a, b, drawn, solids),
        "comparison.json": _json(exports.comparison_to_dict(comparison)),
        "zones_a.csv": exports.zone_table_csv(comparison.a),
        "zones_b.csv": exports.zone_table_csv(comparison.b),
        **solid_files(comparison.a, "_a"),
        **solid_files(comparison.b, "_b"),
        **{f"{name}.png": png for name, png in drawn.items()},
    })  # fmt: skip


def _json(document: Mapping[str, Any]) -> str:
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _write(folder: Path, files: Mapping[str, str | bytes | None]) -> None:
    folder.mkdir(exist_ok=True)
    for name, content in files.items():
        if isinstance(content, str):
            (folder / name).write_text(content, encoding="utf-8")
        elif content is not None:
            (folder / name).write_bytes(content)

"""Melt results for other programs: one JSON document each, as `schemas/melt.schema.json` describes it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from castq import __version__
from castq.core.cautions import BANNER, BY_COMMAND
from castq.core.nomenclature import SCHEMA_VERSION

if TYPE_CHECKING:
    from castq.melt.chart_types import ChartBook, GroupChart
    from castq.melt.fit import FitResult
    from castq.melt.plan import TreatmentPlan
    from castq.melt.release import ReleaseTable
    from castq.melt.repeat_study import RepeatStudy
    from castq.melt.types import Judgement, Kinetics
    from castq.report.melt_words import Standing

DIGITS: Final = 6


def document(name: str, content: Mapping[str, Any]) -> dict[str, Any]:
    """Return a result as a document: what it is, its version, the banner, then the content.

    Parameters
    ----------
    name : str
        What it is, for example `judgement`.
    content : mapping
        Its values; records, times and numbers are made plain.

    Returns
    -------
    dict
        Plain data: no NaN, numbers at six significant digits, times with their offset.
    """
    head = {"schema": f"castq melt {name}", "schema_version": SCHEMA_VERSION, "castq_version": __version__,
            "banner": BANNER}  # fmt: skip
    return {**head, **{key: plain_value(value) for key, value in content.items()}}


def plain_value(value: Any) -> Any:
    """Return plain data for JSON; a number that is not finite becomes None."""
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, int):
        return value
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") if math.isfinite(value) else None
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Path):
        return str(value)
    if is_dataclass(value):
        return {field.name: plain_value(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain_value(item) for key, item in value.items()}
    if isinstance(value, Sequence):
        return [plain_value(item) for item in value]
    return plain_value(value.item())


def judgement_to_dict(judgement: Judgement, standing: Standing) -> dict[str, Any]:
    """Return a judgement with what it stands on; `minutes` of None: no number of minutes is enough."""
    content = {field.name: getattr(judgement, field.name) for field in fields(judgement)}
    content["clocks"] = (*judgement.clocks, *standing.clocks)
    more = {"at": standing.at, "samples": standing.samples, "notes": standing.notes, "rows": standing.rows,
            "book": standing.book, "kinetics": _kinetics(standing.kinetics, standing.kinetics_sha256)}  # fmt: skip
    return document("judgement", {**content, **more})


def _kinetics(kinetics: Kinetics | None, sha256: str) -> dict[str, Any] | None:
    return None if kinetics is None else {**plain_value(kinetics), "sha256": sha256}


def plan_to_dict(plan: TreatmentPlan, kinetics_sha256: str) -> dict[str, Any]:
    """Return a plan; `minutes` of None: no number of minutes is enough."""
    content = {field.name: getattr(plan, field.name) for field in fields(plan)}
    content["kinetics"] = _kinetics(plan.kinetics, kinetics_sha256)
    return document("plan", content)


def release_to_dict(table: ReleaseTable, rows_written: Sequence[int] = ()) -> dict[str, Any]:
    """Return a pouring table."""
    rows = [{**{f.name: getattr(row, f.name) for f in fields(row) if f.name != "kept"}, "alloy": row.kept.alloy,
             "file": row.kept.file, "inputs_sha256": row.kept.inputs_sha256} for row in table.rows]  # fmt: skip
    content = {field.name: getattr(table, field.name) for field in fields(table)}
    return document("release", {**content, "rows": rows, "written": list(rows_written)})


def charts_to_dict(charts: ChartBook, files: Sequence[Path] = ()) -> dict[str, Any]:
    """Return the charts in words and numbers; each value stands in the log, by its row."""
    return document("charts", {
        "charts": [_chart(group) for group in charts.groups], "notes": charts.notes, "files": list(files),
        "cautions": BY_COMMAND["melt"],
    })  # fmt: skip


def _chart(group: GroupChart) -> dict[str, Any]:
    departures = [{"kind": d.kind, "first_row": group.sequence[d.first], "found_row": group.sequence[d.found],
                   "last_row": group.sequence[d.last], "since": str(group.local[d.first].astype("datetime64[s]")),
                   "open": d.open, "level": d.level} for d in group.departures]  # fmt: skip
    return {
        "furnace": group.furnace, "shift": group.shift, "quantity": group.quantity.name, "unit": group.quantity.unit,
        "state": group.state, "words": group.words, "samples": len(group.values), "centre": group.centre,
        "lower": group.lower, "upper": group.upper, "baseline": group.baseline.words if group.baseline else "",
        "departures": departures, "capability": group.capability, "capability_words": group.capability_words,
    }  # fmt: skip


def study_to_dict(study: RepeatStudy | None, more: Mapping[str, Any]) -> dict[str, Any]:
    """Return a measurement study with capability and sample sizes."""
    own = None if study is None else {
        "quantity": study.quantity.name, "unit": study.quantity.unit, "by": study.by, "level": study.level,
        "one_sigma": study.one_sigma, "pairs_wanted": study.pairs_wanted, "words": study.words,
        "components": study.study.components, "remarks": study.study.remarks,
    }  # fmt: skip
    return document("study", {"study": own, **more})


def fit_to_dict(result: FitResult, sha256: str, more: Mapping[str, Any]) -> dict[str, Any]:
    """Return what was learnt of a furnace."""
    content = {field.name: getattr(result, field.name) for field in fields(result)}
    content["kinetics"] = _kinetics(result.kinetics, sha256)
    return document("fit", {**content, **more})

"""The page of an improvement: the tornado picture, levers ranked, combinations, what cannot be changed, cautions."""

from __future__ import annotations

from typing import Any

from castq.core.cautions import cautions_for
from castq.report.html import page
from castq.report.improve_words import (
    METHOD,
    combination_rows,
    hazards,
    headline,
    interval,
    lever_rows,
    notes,
    points,
    settings_of,
    sure,
)
from castq.screening.improve import Improvement


def improve_html(result: Improvement, tornado: bytes | None) -> str:
    """Return the report as one self-contained HTML document.

    Parameters
    ----------
    result : Improvement
        The result.
    tornado : bytes or None
        The tornado picture as PNG; None for a report of words and tables only.

    Returns
    -------
    str
        HTML.
    """
    case = result.basis.state.case
    return page(
        "improve.html",
        name=case.name,
        depth=result.basis.state.depth,
        headline=headline(result),
        targets=[(target, _first(result, index)) for index, target in enumerate(result.targets)],
        tornado=tornado,
        method=METHOD,
        levers=lever_rows(result),
        combinations=combination_rows(result),
        left_out=result.left_out,
        notes=notes(result),
        hazards=hazards(result),
        cautions=cautions_for("improve"),
        warnings=case.warnings,
        inputs=case.inputs,
        defaults=case.defaults_used,
        draws=result.basis.draws,
        seed=result.basis.seed,
        used=result.used,
        budget=result.budget,
    )


def _first(result: Improvement, index: int) -> dict[str, Any] | None:
    """Return the single lever that surely wins most on one target; None where there is none."""
    ends = [t for m in result.moved for t in (m.low, m.high) if t is not None and sure(t.gains[index])]
    best = max(ends, key=lambda t: t.gains[index].value, default=None)
    if best is None:
        return None
    gain = best.gains[index]
    return {"what": settings_of(result, best), "gain": {"text": points(gain), "interval": interval(gain)}}

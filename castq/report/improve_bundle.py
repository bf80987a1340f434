"""Everything that `castq improve` leaves in its folder beside the journal."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from castq.report.improve_exports import effects_csv, improvement_csv, improvement_to_dict, sweep_csv, sweep_to_dict
from castq.report.improve_figures import tornado_png
from castq.report.improve_html import improve_html
from castq.screening.improve import Improvement
from castq.screening.sweep import Sweep


def improvement_files(result: Improvement, pictures: bool = True) -> dict[str, str | bytes]:
    """Return the files of an improvement by name.

    Parameters
    ----------
    result : Improvement
        The result.
    pictures : bool
        Whether to draw the tornado picture.
    """
    png = tornado_png(result) if pictures else None
    return {
        "improve.html": improve_html(result, png),
        "improve.json": _json(improvement_to_dict(result)),
        "improve.csv": improvement_csv(result),
        **({"tornado.png": png} if png is not None else {}),
    }


def sweep_files(result: Sweep) -> dict[str, str | bytes]:
    """Return the files of a sweep by name.

    Parameters
    ----------
    result : Sweep
        The result.
    """
    return {
        "sweep.csv": sweep_csv(result),
        "effects.csv": effects_csv(result),
        "sweep.json": _json(sweep_to_dict(result)),
    }


def _json(document: Mapping[str, Any]) -> str:
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"

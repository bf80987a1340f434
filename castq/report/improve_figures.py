"""The tornado picture: what each lever wins or loses in each worst zone, one step down and one step up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from castq.core.errors import plain
from castq.report.canvas import SMALL_PT, TEXT_PT, calm, headline, sheet, to_png
from castq.report.colours import ACCENT, INK, QUIET, SECOND
from castq.report.improve_words import setting, unit_of_lever, widest
from castq.report.words import percent
from castq.screening.improve import Improvement, Moved
from castq.screening.improve_trial import Target, Trial

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ROW_IN = 0.44
MOST_ROWS = 16
NAME_LIMIT = 34
STEP = 0.19


def tornado_png(result: Improvement) -> bytes:
    """Return the tornado picture: one row a lever, one panel a worst zone and one for the whole wheel.

    Parameters
    ----------
    result : Improvement
        The result.

    Returns
    -------
    bytes
        PNG.
    """
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    rows = result.moved[:MOST_ROWS]
    figure = sheet(10.4, 1.75 + ROW_IN * max(len(rows), 2))
    headline(figure, "What each lever moves", "gain in the probability that all decided limits are met, over the same "
             "draws [percentage points]; stroke: 95 % interval")  # fmt: skip
    reach = 1.12 * max([widest(moved) for moved in rows], default=1.0) or 1.0
    panels = figure.subplots(1, len(result.targets), squeeze=False)[0]
    for index, (axes, target) in enumerate(zip(panels, result.targets, strict=True)):
        _panel(axes, rows, target, index, reach)
    key = [Patch(color=ACCENT, label="lower end of the range"), Patch(color=SECOND, label="upper end"),
           Line2D([], [], color=INK, linewidth=1.1, label="95 % interval"),
           Line2D([], [], color=QUIET, marker="$?$", linestyle="", label="not solved or not decided")]  # fmt: skip
    figure.legend(handles=key, loc="outside lower left", ncols=4, frameon=False, fontsize=SMALL_PT, labelcolor=INK)
    return to_png(figure)


def _panel(axes: Axes, rows: Sequence[Moved], target: Target, index: int, reach: float) -> None:
    axes.set_xlim(-reach, reach)
    axes.set_ylim(len(rows) - 0.45, -0.65)
    axes.set_yticks(range(len(rows)), [_label(moved) for moved in rows] if index == 0 else [""] * len(rows))
    for row in range(0, len(rows), 2):
        axes.axhspan(row - 0.5, row + 0.5, color="#f5f8f9", zorder=0)
    calm(axes)
    axes.tick_params(axis="y", labelsize=SMALL_PT)
    axes.locator_params(axis="x", nbins=5)
    axes.axvline(0.0, color=INK, linewidth=1.1, zorder=2)
    axes.set_title(f"{plain(target.name, 24)}\nnow {percent(target.probability)}", fontsize=TEXT_PT, color=INK,
                   loc="left", pad=6)  # fmt: skip
    for row, moved in enumerate(rows):
        for trial, side, colour in ((moved.low, -STEP, ACCENT), (moved.high, STEP, SECOND)):
            if trial is not None:
                _bar(axes, trial, index, row + side, colour)


def _bar(axes: Axes, trial: Trial, index: int, y: float, colour: str) -> None:
    gain = trial.gains[index]
    if not math.isfinite(gain.value):
        axes.text(0.0, y, " ?", va="center", fontsize=SMALL_PT, color=QUIET)
        return
    axes.barh(y, 100.0 * gain.value, height=0.30, color=colour, zorder=3)
    if gain.low < gain.high:
        axes.plot([100.0 * gain.low, 100.0 * gain.high], [y, y], color=INK, linewidth=1.1, zorder=4)


def _label(moved: Moved) -> str:
    """Return the lever's name, and below it the values low, present and high."""
    ends = [f"{float(f'{t.change[0][1]:.4g}'):g}" if t is not None else "·" for t in (moved.low, moved.high)]
    present = setting(moved.lever, moved.present).removesuffix(" " + unit_of_lever(moved.lever))
    return f"{plain(moved.lever.label, NAME_LIMIT)}\n{ends[0]} | {present} | {ends[1]} {unit_of_lever(moved.lever)}"

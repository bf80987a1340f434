"""Pictures of the melt desk: control charts, fit of the kinetics, release strip, measurement study; PNG bytes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import input_error, plain
from castq.melt.chart_types import QUANTITIES
from castq.melt.chart_words import value_words
from castq.melt.fit import FitResult
from castq.melt.release import ReleaseTable
from castq.melt.repeat_study import RepeatStudy
from castq.report.canvas import SMALL_PT, TEXT_PT, calm, headline, sheet, to_png
from castq.report.colours import ACCENT, INK, QUIET, SECOND, VERDICTS
from castq.report.words import number
from castq.statistics.gauge import Component

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]
BAND = "#cfe3ef"
ROW_IN = 0.42
HYDROGEN_LABEL = "hydrogen [ml/100g]"
# Stands in where a fit goes through every point; the reading of an instrument.
LEAST_SIGMA = 0.01
_HYDROGEN = next(q for q in QUANTITIES if q.name == "hydrogen_ml_100g")


@dataclass(frozen=True, slots=True, eq=False)
class FitDrawing:
    """What the picture of a fit needs.

    Attributes
    ----------
    name : str
        Name of the calibration.
    words : str
        What was learnt, in one sentence.
    treatment : array of int
        Treatment of each point, counted from 0 [-].
    minutes : array
        Minutes of treatment at each point [min].
    measured, fitted : array
        Hydrogen measured and by the fit [ml/100g].
    one_sigma : array
        Standard deviation expected of each measured value [ml/100g].
    curves : tuple of pairs of array
        Minutes [min] and hydrogen [ml/100g] of each fitted curve; without any, the fitted points are joined.
    """

    name: str
    words: str
    treatment: NDArray[np.int64]
    minutes: Array
    measured: Array
    fitted: Array
    one_sigma: Array
    curves: tuple[tuple[Array, Array], ...] = ()


class StripRow(NamedTuple):
    """One design of the release strip: its hydrogen limit, this melt's hydrogen [ml/100g] and, if known, the answer."""

    design: str
    limit_median: float
    limit_p10: float
    limit_p90: float
    melt_median: float
    melt_p10: float
    melt_p90: float
    answer: str = ""


# How an answer is shown, and what is said of the ranges where no answer is passed on.
ANSWER_VERDICTS = {"may pour": "pass", "pour with care": "at risk", "do not pour": "fails",
                   "not comparable": "not decided"}  # fmt: skip
RANGE_WORDS = {"pass": "melt below its limit", "at risk": "ranges overlap", "fails": "melt above its limit",
                 "not decided": "not decided"}  # fmt: skip


def drawing_of(result: FitResult) -> FitDrawing:
    """Return what the picture of a fit needs from its result.

    Parameters
    ----------
    result : FitResult
        The fit.

    Returns
    -------
    FitDrawing
        Points and fit [min, ml/100g].
    """
    k, rows = result.kinetics, result.residuals
    runs = {name: index for index, name in enumerate(dict.fromkeys(r.run for r in rows))}
    measured, fitted = (np.array([getattr(r, n) for r in rows]) for n in ("measured_ml_100g", "fitted_ml_100g"))
    off = np.array([r.standardised for r in rows])
    with np.errstate(invalid="ignore", divide="ignore"):
        sigma = np.where(off != 0.0, (measured - fitted) / off, np.nan)
    # A residual of exactly 0 does not tell its own standard deviation: the middle one stands in.
    sigma = np.where(np.isfinite(sigma), sigma, np.nanmedian(sigma) if np.isfinite(sigma).any() else LEAST_SIGMA)
    words = (f"rate {k.rate_per_min:.2g} per min, floor {k.floor_ml_100g:.2g} ± {k.floor_sigma_ml_100g:.2g} ml/100g, "
             f"from {len(rows)} readings of {len(runs)} treatments")  # fmt: skip
    words += "" if result.identified else "; the readings do not tell both rate and floor"
    return FitDrawing(k.name, words, np.array([runs[r.run] for r in rows]), np.array([r.minutes for r in rows]),
                      measured, fitted, sigma)  # fmt: skip


def strip_rows(table: ReleaseTable) -> tuple[StripRow, ...]:
    """Return the rows of the release strip of a release table.

    Parameters
    ----------
    table : ReleaseTable
        The table.

    Returns
    -------
    tuple of StripRow
        One a design [ml/100g].
    """
    melt = table.hydrogen_ml_100g
    return tuple(
        StripRow(r.design, r.stands.median, r.stands.p10, r.stands.p90, melt.median, melt.p10, melt.p90, r.answer)
        for r in table.rows
    )


def fit_png(result: FitDrawing) -> bytes:
    """Return the picture of a fit: hydrogen over time of each treatment, and what the fit leaves over.

    Parameters
    ----------
    result : FitDrawing
        Points and fit.

    Returns
    -------
    bytes
        PNG.
    """
    sizes = {len(getattr(result, n)) for n in ("treatment", "minutes", "measured", "fitted", "one_sigma")}
    if len(sizes) != 1 or 0 in sizes:
        raise input_error(
            "fit picture", "points", "arrays of unequal length or without a point", "one value a point", ""
        )
    figure = sheet(9.6, 4.3)
    headline(figure, f"Fit of {plain(result.name, 60) or 'the kinetics'}", plain(result.words, 150))
    left, right = figure.subplots(1, 2, width_ratios=(1.15, 1.0))
    for minutes, hydrogen in result.curves or _joined(result):
        left.plot(minutes, hydrogen, color=ACCENT, linewidth=1.2, alpha=0.65, zorder=2)
    left.errorbar(result.minutes, result.measured, yerr=result.one_sigma, fmt="o", markersize=4.5, color=INK,
                  ecolor=QUIET, elinewidth=0.9, zorder=3)  # fmt: skip
    _name_axes(left, "minutes of treatment [min]", HYDROGEN_LABEL)
    left.set_ylim(bottom=0.0)
    _residuals(right, result)
    _fit_key(figure)
    return to_png(figure)


def _joined(result: FitDrawing) -> list[tuple[Array, Array]]:
    """Return the fitted points of each treatment in the order of time."""
    order = np.lexsort((result.minutes, result.treatment))
    cuts = np.flatnonzero(np.diff(result.treatment[order])) + 1
    return [(result.minutes[own], result.fitted[own]) for own in np.split(order, cuts)]


def _residuals(axes: Axes, result: FitDrawing) -> None:
    off = (result.measured - result.fitted) / result.one_sigma
    axes.axhspan(-2.0, 2.0, color=BAND, linewidth=0, zorder=1)
    axes.axhline(0.0, color=INK, linewidth=1.0, zorder=2)
    outside = np.abs(off) > 2.0
    axes.scatter(result.minutes[~outside], off[~outside], s=22, color=INK, zorder=3)
    axes.scatter(result.minutes[outside], off[outside], s=46, marker="D", color=SECOND, zorder=4)
    late = result.minutes > 0.7 * result.minutes.max()
    for i in np.flatnonzero(outside)[:6]:
        axes.annotate(f"treatment {result.treatment[i] + 1}", (result.minutes[i], off[i]), va="center",
                      xytext=(-8 if late[i] else 8, 0), ha="right" if late[i] else "left", textcoords="offset points",
                      fontsize=SMALL_PT, color=SECOND)  # fmt: skip
    reach = max(3.0, 1.15 * float(np.abs(off).max()))
    axes.set_ylim(-reach, reach)
    _name_axes(axes, "minutes of treatment [min]", "measured less fit [standard deviations]")


def _fit_key(figure: Any) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles = [
        Line2D([], [], marker="o", color=INK, linestyle="", markersize=5, label="measured, ± one standard deviation"),
        Line2D([], [], color=ACCENT, linewidth=1.4, label="fit"),
        Patch(color=BAND, label="± two standard deviations"),
        Line2D([], [], marker="D", color=SECOND, linestyle="", markersize=6, label="outside them"),
    ]
    figure.legend(handles=handles, loc="outside lower left", ncols=4, frameon=False, fontsize=SMALL_PT, labelcolor=INK)


def _name_axes(axes: Axes, along: str, up: str) -> None:
    calm(axes, "y")
    axes.set_xlabel(along, fontsize=SMALL_PT, color=QUIET, loc="left")
    axes.set_title(up, fontsize=TEXT_PT, color=INK, loc="left", pad=6)


def _verdict_of(row: StripRow) -> str:
    """Return the answer that the ranges give when none is passed on."""
    if row.answer:
        return ANSWER_VERDICTS[row.answer]
    if not np.isfinite(row[1:7]).all():
        return "not decided"
    if row.melt_median > row.limit_median:
        return "fails"
    return "pass" if row.melt_p90 < row.limit_p10 else "at risk"


def release_png(rows: Sequence[StripRow]) -> bytes:
    """Return the release strip: the hydrogen limit of each design against this melt.

    Parameters
    ----------
    rows : sequence of StripRow
        One a design, all with the same melt.

    Returns
    -------
    bytes
        PNG.
    """
    if not rows:
        raise input_error(
            "release", "designs", "none to draw", "at least one screened design", "keep a screening first"
        )
    melt = rows[0]
    figure = sheet(9.6, 1.55 + ROW_IN * len(rows))
    span = f"({number(melt.melt_p10, 2)} to {number(melt.melt_p90, 2)})"
    title = f"Which wheels this melt may pour: hydrogen {value_words(melt.melt_median, _HYDROGEN)} {span}"
    headline(figure, title, "sign: median limit; bar: p10 to p90 of the limit; the melt should lie to the left of both")
    axes = figure.subplots()
    known = np.array([row[1:7] for row in rows], dtype=float)
    far = 1.12 * float(np.nanmax(known)) if np.isfinite(known).any() else 1.0
    axes.set_xlim(0.0, far)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_yticks(range(len(rows)), [plain(row.design, 28) for row in rows])
    calm(axes)
    axes.tick_params(axis="y", labelsize=TEXT_PT)
    if np.isfinite(melt[4:7]).all():
        axes.axvspan(melt.melt_p10, melt.melt_p90, color=BAND, zorder=0)
        axes.axvline(melt.melt_median, color=ACCENT, linewidth=2.0, zorder=1)
    for y, row in enumerate(rows):
        _release_row(axes, y, row)
    axes.set_xlabel(HYDROGEN_LABEL, fontsize=SMALL_PT, color=QUIET, loc="left")
    _release_key(figure, {row.answer or RANGE_WORDS[_verdict_of(row)]: _verdict_of(row) for row in rows})
    return to_png(figure)


def _release_key(figure: Any, verdicts: dict[str, str]) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = [
        Line2D([], [], color=ACCENT, linewidth=2, label="this melt, median"),
        Patch(color=BAND, label="p10 to p90"),
    ]
    for words, verdict in sorted(verdicts.items(), key=lambda item: VERDICTS[item[1]].rank):
        look = VERDICTS[verdict]
        handles.append(Line2D([], [], marker=look.marker, color=look.colour, linestyle="", markersize=7, label=words))
    figure.legend(handles=handles, loc="outside lower left", ncols=6, frameon=False, fontsize=SMALL_PT, labelcolor=INK)


def _release_row(axes: Axes, y: int, row: StripRow) -> None:
    verdict = _verdict_of(row)
    look, words = VERDICTS[verdict], row.answer or RANGE_WORDS[verdict]
    if np.isfinite(row[1:4]).all():
        axes.barh(y, row.limit_p90 - row.limit_p10, left=row.limit_p10, height=0.28, color=look.colour, alpha=0.38,
                  zorder=3)  # fmt: skip
        axes.scatter([row.limit_median], [y], marker=look.marker, s=60, color=look.colour, edgecolor="white",
                     linewidth=0.7, zorder=5)  # fmt: skip
        words = f"limit {number(row.limit_median, 2)}, {words}"
    axes.annotate(f"{look.sign} {words}", (1.01, y), xycoords=("axes fraction", "data"), va="center",
                  fontsize=SMALL_PT, color=look.colour, fontweight="bold" if verdict == "fails" else "normal",
                  annotation_clip=False)  # fmt: skip


def repeats_png(study: RepeatStudy) -> bytes:
    """Return the picture of a measurement study: the standard deviation of each part of the spread.

    Parameters
    ----------
    study : RepeatStudy
        The study.

    Returns
    -------
    bytes
        PNG.
    """
    unit = "percentage points" if study.quantity.unit == "%" else study.quantity.unit
    names = {"repeatability": "pairs of one melt", study.by: f"between {study.by}s", "gauge": "the test, all together",
             "part": f"melts of one {study.by}", "total": "all together"}  # fmt: skip
    if study.by == "furnace":
        del names["gauge"]  # The pairs alone: furnaces are no part of the test.
    figure = sheet(9.6, 1.5 + ROW_IN * len(names))
    headline(figure, f"Measurement study: {study.words[0]}",
             f"standard deviation at {value_words(study.level, study.quantity)}; line: "
             f"{100 * study.study.confidence:.0f} % interval; number: share of the variance")  # fmt: skip
    axes = figure.subplots()
    # On the even scale a small step is this many times larger in the unit of the quantity.
    slope = math.hypot(study.level, study.quantity.bend)
    far = 1.9 * slope * study.study.component("total").deviation
    for y, name in enumerate(names):
        of_test = name in {"repeatability", "gauge", "operator"}
        _component_bar(axes, y, study.study.component(name), slope, far, of_test)
    axes.set_xlim(0.0, far)
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_yticks(range(len(names)), list(names.values()))
    calm(axes)
    axes.tick_params(axis="y", labelsize=TEXT_PT)
    along = f"standard deviation of {study.quantity.label} [{unit}]; hatched: the test's own"
    axes.set_xlabel(along, fontsize=SMALL_PT, color=QUIET, loc="left")
    return to_png(figure)


def _component_bar(axes: Axes, y: int, part: Component, slope: float, far: float, of_test: bool) -> None:
    low, high = (slope * math.sqrt(v) for v in (part.low, part.high))
    axes.barh(y, slope * part.deviation, height=0.5, color=SECOND if of_test else "#9bb7c9",
              hatch="///" if of_test else "", edgecolor="white", linewidth=0.0, zorder=2)  # fmt: skip
    axes.plot([low, min(high, far)], [y, y], color=INK, linewidth=1.3, zorder=3)
    if high > far:
        axes.scatter([0.995 * far], [y], marker=">", s=30, color=INK, zorder=4)
    axes.annotate(f"{part.share_pct:.0f} %", (1.01, y), xycoords=("axes fraction", "data"), va="center",
                  fontsize=SMALL_PT, color=INK, annotation_clip=False)  # fmt: skip

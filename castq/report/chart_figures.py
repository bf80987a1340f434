"""Control charts as pictures: values with limits, moving average, and signals by shape, label and colour; PNG bytes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import numpy as np

from castq.core.errors import input_error, plain
from castq.melt.chart_types import Departure, GroupChart
from castq.melt.chart_words import group_words, value_words
from castq.melt.sample_times import DAYS, MONTHS
from castq.report.canvas import SMALL_PT, TEXT_PT, calm, headline, sheet, to_png
from castq.report.colours import ACCENT, INK, QUIET, SECOND, VERDICTS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PANEL_IN = 2.55
MOST_PANELS = 6
NEWEST = 120
TITLE_LETTERS = 112
FAR_COLOUR = VERDICTS["fails"].colour
DRIFT_TINT = VERDICTS["at risk"].tint


def chart_png(charts: Sequence[GroupChart], newest: int = NEWEST) -> bytes:
    """Return the picture of the charts, one under another, all on the plant's clock.

    Parameters
    ----------
    charts : sequence of GroupChart
        Charts to draw, at most six.
    newest : int
        Most samples to draw of each, the newest [-].

    Returns
    -------
    bytes
        PNG.
    """
    drawn = [c for c in charts if len(c.values)][:MOST_PANELS]
    if not drawn:
        raise input_error("chart picture", "charts", "none with a sample", "at least one", "log samples first")
    figure = sheet(9.6, 1.0 + PANEL_IN * len(drawn))
    names = dict.fromkeys(group_words(c.furnace, c.shift) for c in drawn)
    headline(
        figure, plain(", ".join(names), 80), "each sample on the plant's clock; limits and signals from its own past"
    )
    panels = figure.subplots(len(drawn), 1, squeeze=False)[:, 0]
    for axes, chart in zip(panels, drawn, strict=True):
        _panel(axes, chart, newest, several=len(names) > 1)
    _key(figure)
    return to_png(figure)


def _panel(axes: Axes, chart: GroupChart, newest: int, several: bool) -> None:
    start = max(0, len(chart.values) - newest)
    when, values = chart.local[start:].astype("datetime64[us]").tolist(), chart.values[start:]
    calm(axes, "y")
    axes.plot(when, values, color="#9bb7c9", linewidth=0.9, zorder=2)
    axes.scatter(when, values, s=16, color=ACCENT, zorder=4)
    label = chart.quantity.label
    words = chart.words if several else chart.words.partition(": ")[2].removeprefix(f"{label} ")
    lines = wrap(f"{label} [{chart.quantity.unit}]: {words}", TITLE_LETTERS)
    axes.set_title("\n".join(map(plain, lines)), fontsize=TEXT_PT, color=INK, loc="left", pad=6)
    if chart.baseline is not None:
        axes.plot(when, chart.average[start:], color=SECOND, linewidth=1.6, zorder=3)
        _limits(axes, chart)
        _signals(axes, chart, start)
    margin = 0.02 * max(when[-1] - when[0], timedelta(hours=1))
    axes.set_xlim(when[0] - margin, when[-1] + margin)
    _room(axes, chart, start)
    _dates(axes)


def _limits(axes: Axes, chart: GroupChart) -> None:
    for value, name, style in (
        (chart.upper, "upper limit", (0, (5, 3))), (chart.centre, "centre", "solid"),
        (chart.lower, "lower limit", (0, (5, 3))),
    ):  # fmt: skip
        if value <= 0.0:
            continue
        axes.axhline(value, color=INK if name != "centre" else QUIET, linewidth=1.0, linestyle=style, zorder=1)
        axes.annotate(f"{name}\n{value_words(value, chart.quantity)}", (1.005, value), va="center", color=QUIET,
                      xycoords=("axes fraction", "data"), fontsize=SMALL_PT, annotation_clip=False)  # fmt: skip


def _signals(axes: Axes, chart: GroupChart, start: int) -> None:
    moments = chart.local.astype("datetime64[us]").tolist()
    for departure in chart.departures:
        if departure.last < start:
            continue
        if departure.kind.startswith("drifted"):
            _drift(axes, chart, departure, start, moments)
        else:
            above = departure.kind == "far above"
            at = (moments[departure.first], chart.values[departure.first])
            axes.scatter([at[0]], [at[1]], marker="^" if above else "v", s=62, color=FAR_COLOUR, edgecolor="white",
                         linewidth=0.7, zorder=6)  # fmt: skip
            axes.annotate(departure.kind, at, xytext=(7, 4), textcoords="offset points", va="center",
                          fontsize=SMALL_PT, color=FAR_COLOUR, zorder=7)  # fmt: skip


def _drift(axes: Axes, chart: GroupChart, departure: Departure, start: int, moments: list[Any]) -> None:
    first, last = max(departure.first, start), departure.last
    axes.axvspan(moments[first], moments[last], facecolor=DRIFT_TINT, alpha=0.55, zorder=0)
    inside = [i for i in range(first, last + 1) if not chart.beyond[i]]
    axes.scatter([moments[i] for i in inside], chart.values[inside], s=26, marker="s", color=SECOND, zorder=5)
    begins = moments[first]
    text = (
        f"{departure.kind} from {DAYS[begins.weekday()]} {begins:%H:%M}" if first == departure.first else departure.kind
    )
    # Beginning near the right edge, the words run leftwards so that they stay inside.
    late = first > start + 0.7 * (len(moments) - start)
    axes.annotate(text, (moments[last] if late else moments[first], 0.97), xycoords=("data", "axes fraction"), va="top",
                  ha="right" if late else "left", xytext=(-4 if late else 4, 0), textcoords="offset points",
                  fontsize=SMALL_PT, color=SECOND, fontweight="bold", zorder=7)  # fmt: skip


def _room(axes: Axes, chart: GroupChart, start: int) -> None:
    """Leave room above the values for the words of a drift."""
    limits = [limit for limit in (chart.upper, chart.lower) if limit > 0.0]
    shown = np.append(chart.values[start:], limits)
    low, high = float(np.nanmin(shown)), float(np.nanmax(shown))
    room = (high - low) or 1.0
    axes.set_ylim(low - 0.06 * room, high + 0.2 * room)


def _dates(axes: Axes) -> None:
    from matplotlib import dates
    from matplotlib.ticker import FuncFormatter

    def words(value: float, _: int | None) -> str:
        moment = dates.num2date(value)  # type: ignore[no-untyped-call]
        day = f"{DAYS[moment.weekday()][:3]} {moment.day} {MONTHS[moment.month - 1][:3]}"
        return day if moment.hour == moment.minute == 0 else f"{moment:%H:%M}"

    locator = dates.AutoDateLocator(minticks=3, maxticks=9)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(FuncFormatter(words))


def _key(figure: Any) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles = [
        Line2D([], [], marker="o", color=ACCENT, linestyle="", markersize=4.5, label="sample"),
        Line2D([], [], color=SECOND, linewidth=1.6, label="moving average"),
        Line2D([], [], color=INK, linewidth=1.0, linestyle=(0, (5, 3)), label="limits of single samples"),
        Patch(facecolor=DRIFT_TINT, label="drift, its samples square"),
        Line2D([], [], marker="^", color=FAR_COLOUR, linestyle="", markersize=7, label="far above or below the rest"),
    ]
    figure.legend(handles=handles, loc="outside lower left", ncols=5, frameon=False, fontsize=SMALL_PT, labelcolor=INK)

"""The shift's card as a PDF of one A4 page, and its charts as a picture; drawn plainly, black and white will do."""

from __future__ import annotations

import io
from collections.abc import Sequence
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from castq import __version__
from castq.core.cautions import BANNER_SHORT
from castq.core.errors import plain
from castq.melt.chart_types import GroupChart
from castq.melt.chart_words import group_words, value_words
from castq.report.canvas import calm, sheet, to_png
from castq.report.colours import INK, QUIET, VERDICTS
from castq.report.melt_card import (
    CARD_CAUTIONS,
    MOST_CHARTS,
    MOST_DESIGNS,
    MOST_FURNACES,
    SAMPLE_HEADS,
    FurnaceAnswer,
    ShiftCard,
    pour_lines,
    sample_cells,
    sample_look,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NEWEST: Final = 40
_A4_IN: Final = (8.27, 11.69)
_LEFT, _RIGHT = 0.065, 0.935
# Letters of a point that fit into the width of the page.
_LETTERS_PT: Final = 870.0
_LINE: Final = 1.28 / (72.0 * _A4_IN[1])


def card_chart_png(charts: Sequence[GroupChart]) -> bytes | None:
    """Return the card's charts as one picture; None when none has a sample.

    Parameters
    ----------
    charts : sequence of GroupChart
        The charts; the first three are drawn.

    Returns
    -------
    bytes or None
        PNG.
    """
    drawn = [c for c in charts if len(c.values)][:MOST_CHARTS]
    if not drawn:
        return None
    figure = sheet(7.3, 1.75)
    for axes, chart in zip(figure.subplots(1, len(drawn), squeeze=False)[0], drawn, strict=True):
        draw_chart(axes, chart)
    return to_png(figure)


def draw_chart(axes: Axes, chart: GroupChart) -> None:
    """Draw the newest values of a chart with its limits; signals by shape, not by colour alone."""
    values = chart.values[-NEWEST:]
    start = len(chart.values) - len(values)
    when = chart.local[start:].astype("datetime64[us]").tolist()
    calm(axes, "y")
    axes.plot(when, values, color="#8fa3ae", linewidth=0.8, zorder=2)
    far = chart.beyond[start:] if len(chart.beyond) else np.zeros(len(values), dtype=bool)
    drift = np.zeros(len(values), dtype=bool)
    for d in chart.departures:
        if d.kind.startswith("drifted"):
            drift[max(d.first - start, 0) : max(d.last + 1 - start, 0)] = True
    drawn = ((~far & ~drift, "o", INK, 9), (drift & ~far, "s", VERDICTS["at risk"].colour, 15),
             (far, "^", VERDICTS["fails"].colour, 24))  # fmt: skip
    for mask, marker, colour, size in drawn:
        chosen = np.flatnonzero(mask)
        axes.scatter([when[i] for i in chosen], values[chosen], s=size, marker=marker, color=colour, zorder=3)
    for level, style in ((chart.upper, "--"), (chart.centre, "-")):
        if np.isfinite(level):
            axes.axhline(level, color=QUIET, linewidth=0.8, linestyle=style, zorder=1)
    name = plain(group_words(chart.furnace, chart.shift), 30)
    axes.set_title(
        f"{name}: {chart.quantity.label} [{chart.quantity.unit}]", fontsize=7.2, color=INK, loc="left", pad=3
    )
    if np.isfinite(chart.upper):
        axes.annotate(f"limit {value_words(chart.upper, chart.quantity)}", (0.01, chart.upper), va="bottom", fontsize=6,
                      xycoords=("axes fraction", "data"), color=QUIET)  # fmt: skip
    _ticks(axes)


def _ticks(axes: Axes) -> None:
    from matplotlib import dates

    locator = dates.AutoDateLocator(minticks=2, maxticks=5)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(dates.ConciseDateFormatter(locator, show_offset=False))  # type: ignore[no-untyped-call]
    axes.tick_params(labelsize=6)


class _Page:
    """A sheet of paper that is written from top to bottom."""

    def __init__(self) -> None:
        from matplotlib.figure import Figure

        self.figure = Figure(figsize=_A4_IN, facecolor="white")
        self.y = 0.965

    def text(self, words: str, size: float = 8.0, *, x: float = _LEFT, share: float = 1.0, bold: bool = False,
             colour: str = INK, most: int = 4) -> None:  # fmt: skip
        """Write words, broken into lines that fit a share of the width."""
        letters = max(int(_LETTERS_PT * share / size), 8)
        lines = wrap(plain(words, 2000), letters)[:most] or [""]
        for line in lines:
            self.put(x, line, size, bold, colour)
            self.down(size)

    def put(self, x: float, line: str, size: float, bold: bool = False, colour: str = INK) -> None:
        """Write one line at the height reached, without going down."""
        words = self.figure.text(x, self.y, line, fontsize=size, color=colour, va="top", ha="left",
                                 fontweight="bold" if bold else "normal")  # fmt: skip
        words.set_parse_math(False)

    def down(self, size: float) -> None:
        """Go down by a line of a size [pt]."""
        self.y -= size * _LINE

    def rule(self, width: float = 0.6) -> None:
        """Draw a line across."""
        from matplotlib.lines import Line2D

        self.figure.add_artist(Line2D([_LEFT, _RIGHT], [self.y + 0.002, self.y + 0.002], color=INK, linewidth=width))
        self.y -= 0.004

    def head(self, words: str) -> None:
        """Write a heading."""
        self.y -= 0.006
        self.text(words, 9.0, bold=True)

    def row(self, cells: Sequence[str], places: Sequence[float], size: float = 7.4, *, bold: bool = False,
            colours: Sequence[str] = ()) -> None:  # fmt: skip
        """Write cells side by side, each cut where the next begins."""
        ends = [*places[1:], 1.0]
        for i, (cell, at, end) in enumerate(zip(cells, places, ends, strict=True)):
            letters = max(int(_LETTERS_PT * (end - at) / size) - 1, 3)
            self.put(_LEFT + at * (_RIGHT - _LEFT), plain(cell, letters), size, bold, colours[i] if colours else INK)
        self.down(size)


def card_pdf(card: ShiftCard) -> bytes:
    """Return the card as a PDF of one page.

    Parameters
    ----------
    card : ShiftCard
        What stands on it.

    Returns
    -------
    bytes
        PDF, the same for the same card.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_pdf import FigureCanvasPdf

    page = _Page()
    page.text(card.title, 13.5, bold=True, most=1)
    page.text(f"{card.book}, head {card.head}; target {card.target}", 7.4, colour=QUIET, most=1)
    page.y -= 0.004
    page.rule(1.2)
    for furnace in card.furnaces[:MOST_FURNACES]:
        _furnace(page, furnace)
    if not card.furnaces:
        page.text("No furnace has a sample in this time.")
    _charts(page, card.charts)
    _samples(page, card)
    _pours(page, card)
    page.head("Before you act")
    for words in CARD_CAUTIONS:
        page.text(f"- {words}", 6.9)
    page.y -= 0.004
    page.text(" ".join([BANNER_SHORT, *card.grounds, f"castq {__version__}."]), 6.9, colour=QUIET, most=3)
    page.text("seen by  ______________________________", 8.0)
    buffer = io.BytesIO()
    with rc_context({"pdf.fonttype": 42}):
        FigureCanvasPdf(page.figure).print_pdf(buffer, metadata={"CreationDate": None, "Title": card.title})  # type: ignore[no-untyped-call]
    return buffer.getvalue()


def _furnace(page: _Page, furnace: FurnaceAnswer) -> None:
    look = VERDICTS[furnace.look]
    at = f" (answer of {furnace.at:%H:%M})" if furnace.at else ""
    page.text(
        f"[{look.sign}] {plain(furnace.furnace, 40)}: {furnace.word}{at}", 11.0, bold=True, colour=look.colour, most=1
    )
    page.text(furnace.words, 8.4, bold=True, most=2)
    for note in furnace.notes[:3]:
        page.text(f"! {note}", 8.0, bold=True, most=2)
    if furnace.judgement is not None:
        j = furnace.judgement
        name = "Hydrogen-equivalent, not a measurement" if j.hydrogen_is_equivalent else "Hydrogen"
        h = j.hydrogen_ml_100g
        page.text(f"{name}: {h.median:.3f} ml/100g (p10 to p90: {h.p10:.3f} to {h.p90:.3f})", 7.4, colour=QUIET)
    for words in furnace.clock_lines()[:3]:
        page.text(words, 7.4, colour=QUIET, most=2)
    page.y -= 0.005


def _charts(page: _Page, charts: Sequence[GroupChart]) -> None:
    drawn = [c for c in charts if len(c.values)][:MOST_CHARTS]
    if not drawn:
        return
    page.head("Charts")
    height, gap = 0.092, 0.055
    width = (_RIGHT - _LEFT - gap * len(drawn) + 0.02) / len(drawn)
    page.y -= height + 0.012
    for i, chart in enumerate(drawn):
        left = _LEFT + 0.03 + i * (width + gap)
        axes: Any = page.figure.add_axes((left, page.y, width, height))
        draw_chart(axes, chart)
        axes.title.set_parse_math(False)
    page.y -= 0.022
    for chart in drawn:
        page.text(f"- {chart.words}", 7.2, most=2)


def _samples(page: _Page, card: ShiftCard) -> None:
    page.head("Samples, newest first")
    places = (0.0, 0.08, 0.22, 0.39, 0.46, 0.54, 0.65)
    page.row(SAMPLE_HEADS, places, bold=True)
    for one in card.shown_samples:
        *cells, answer = sample_cells(one)
        look = VERDICTS[sample_look(one)]
        page.row([*cells, f"[{look.sign}] {answer}"], places, colours=[*[INK] * len(cells), look.colour])
    left = len(card.samples) - len(card.shown_samples)
    more = f" {left} earlier ones are in the log book." if left > 0 else ""
    page.text(
        f"Answers of when each sample was taken. ~ hydrogen-equivalent, not a measurement.{more}", 6.9, colour=QUIET
    )


def _pours(page: _Page, card: ShiftCard) -> None:
    page.head("Which wheels these melts may pour, as far as screening tells")
    shown = card.furnaces[:MOST_FURNACES]
    lines = pour_lines(shown)
    if not lines:
        page.text("No screened design is kept, or no melt could be held against one.", 7.4, colour=QUIET)
        return
    step = 0.56 / len(shown)
    places = (0.0, 0.32, *(0.44 + step * i for i in range(len(shown))))
    page.row(["design", "stands ml/100g", *(f.furnace for f in shown)], places, bold=True)
    for line in lines[:MOST_DESIGNS]:
        cells = [f"[{VERDICTS[look].sign}] {words}" for look, words in line.cells]
        page.row([line.design, line.stands, *cells], places)
    page.text("The release rules of your plant decide what is poured.", 6.9, colour=QUIET)

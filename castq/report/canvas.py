"""Sheets for pictures: matplotlib objects without any global state, and the same bytes for the same picture."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import TYPE_CHECKING, cast

from castq.report.colours import INK, LINE, PAPER, QUIET

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

DPI = 160
TITLE_PT, TEXT_PT, SMALL_PT = 11.5, 9.4, 8.5


def sheet(width_in: float, height_in: float) -> Figure:
    """Return an empty white figure [inches], laid out so that nothing overlaps."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), dpi=DPI, facecolor=PAPER, layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def to_png(figure: Figure) -> bytes:
    """Return the figure as PNG bytes that hold no date and no program version."""
    buffer = io.BytesIO()
    # Straight to the canvas: `savefig` would draw the figure twice, once for the layout alone.
    canvas = cast("FigureCanvasAgg", figure.canvas)
    print_png: Callable[..., None] = canvas.print_png
    print_png(buffer, metadata={"Software": None}, pil_kwargs={"compress_level": 4})
    return buffer.getvalue()


def headline(figure: Figure, title: str, note: str = "") -> None:
    """Put the title, and a quieter line under it, at the top left of the figure."""
    text = figure.suptitle(title, x=0.008, ha="left", fontsize=TITLE_PT, color=INK, fontweight="bold")
    if note:
        text.set_text(title + "\n")
        figure.text(0.008, 0.995 - 0.235 / figure.get_figheight(), note, ha="left", va="top", fontsize=SMALL_PT,
                    color=QUIET)  # fmt: skip


def calm(axes: Axes, grid: str = "x") -> None:
    """Take everything off the axes that carries no information."""
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(LINE)
    axes.tick_params(length=0, labelsize=SMALL_PT, colors=INK, pad=4)
    axes.tick_params(axis="x", colors=QUIET)
    axes.set_axisbelow(True)
    if grid:
        axes.grid(axis=grid, color="#e6ebed", linewidth=0.8)  # type: ignore[arg-type]

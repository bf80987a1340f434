"""Sheets for pictures: matplotlib objects without any global state, and the same bytes for the same picture."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from castq.report.colours import INK, LINE, PAPER, QUIET, ramp, rgb

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from PIL.Image import Image

DPI = 160
# Colours of a picture, and how many of them are kept for the colour map and for each ink.
COLOURS, MAP_STEPS, INK_STEPS = 256, 112, 12
TITLE_PT, TEXT_PT, SMALL_PT = 11.5, 9.4, 8.5


def sheet(width_in: float, height_in: float) -> Figure:
    """Return an empty white figure [inches], laid out so that nothing overlaps."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), dpi=DPI, facecolor=PAPER, layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def to_png(figure: Figure) -> bytes:
    """Return the figure as PNG bytes that hold no date and no program version, in at most 256 colours."""
    from matplotlib.text import Text

    # A dollar sign in a zone's name begins no formula.
    for text in figure.findobj(Text):
        text.set_parse_math(False)
    # Straight to the canvas: `savefig` would draw the figure twice, once for the layout alone.
    canvas = cast("FigureCanvasAgg", figure.canvas)
    canvas.draw()  # type: ignore[no-untyped-call]
    pixels = np.asarray(canvas.buffer_rgba())[:, :, :3]  # type: ignore[no-untyped-call]
    buffer = io.BytesIO()
    _few_colours(pixels).save(buffer, "PNG", compress_level=9)
    return buffer.getvalue()


def _few_colours(pixels: NDArray[np.uint8]) -> Image:
    """Return a picture a third of the size as PNG: inks and colour map as they are, the rest its own."""
    from PIL import Image as Pillow

    drawn = Pillow.fromarray(np.ascontiguousarray(pixels))
    none = Pillow.Dither.NONE
    # Writing keeps its colour: paper, and steps from it to the two colours of ink.
    steps = np.linspace(0.0, 1.0, INK_STEPS)[:, None]
    inks = [255.0 + steps * (np.array(rgb(ink)) - 255.0) for ink in (INK, QUIET)]
    fixed = np.concatenate([*inks, ramp(MAP_STEPS)])
    left = COLOURS - len(fixed)
    own = drawn.quantize(left, method=Pillow.Quantize.MEDIANCUT, dither=none).getpalette() or []
    palette = [*np.rint(fixed).astype(int).ravel().tolist(), *own][: 3 * COLOURS]
    plan = Pillow.new("P", (1, 1))
    plan.putpalette(palette)
    places = np.array(drawn.quantize(palette=plan, dither=none))
    # Pillow takes a near colour for the nearest; paper must stay white.
    places[(pixels == 255).all(axis=2)] = 0
    few = Pillow.fromarray(places, mode="P")
    few.putpalette(palette)
    return few


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

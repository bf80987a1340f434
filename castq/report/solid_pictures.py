"""Pictures of solid depth: how the front goes, where feeding is cut off and why, Niyama value, and the die's face."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from castq.physics.niyama import NIYAMA_WARN
from castq.report.canvas import SMALL_PT, TEXT_PT, headline, sheet, to_png
from castq.report.colours import INK, MISSING, colour_map
from castq.report.fields import Scale, scale_of
from castq.report.section import (
    HalfSection,
    both_sections,
    colour_bar,
    draw_frame,
    extent_of,
    sample,
    sample_nearest,
)
from castq.report.solid_states import STATES, colours_of, drawn
from castq.report.timelapse import Front
from castq.report.words import percent
from castq.screening.fields import WheelFields

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Shares of the metal that still pass feed metal in the panels of the freezing sequence.
OPEN_SHARES: tuple[float, ...] = (0.9, 0.6, 0.4, 0.2, 0.12, 0.04)
# Pieces of outline that take one colour, and how far a colour is fetched, in cells.
PIECE_MM, FETCH_CELLS = 1.5, 2.5
Array = NDArray[np.float64]


def sequence_png(front: Front, title: str = "", times_s: Sequence[float] = ()) -> bytes:
    """Return the freezing front at six times, in half section through a spoke.

    Parameters
    ----------
    front : Front
        The freezing of the wheel.
    title : str
        Title of the picture; a general one by default.
    times_s : sequence of float
        The six times; those at which `OPEN_SHARES` of the metal are left open by default [s].

    Returns
    -------
    bytes
        PNG.
    """
    times = times_s or [front.time_of_share(share) for share in OPEN_SHARES]
    figure = sheet(9.6, 7.9)
    headline(figure, title or "How the wheel freezes", "half section through a spoke at six times; above each: time "
             "from pouring, and metal that still passes feed metal")  # fmt: skip
    panels = figure.subplots(2, 3)
    section = front.sections[0]
    for place, (axes, time) in enumerate(zip(panels.flat, times, strict=True)):
        draw_frame(axes, section.cut, place % 3 == 0)
        picture = colours_of(drawn(section.states(time)))
        axes.imshow(picture, origin="lower", extent=extent_of(section.cut), interpolation="hanning", zorder=2)
        open_now = percent(front.open_share(time))
        axes.set_title(f"{time:.0f} s: {open_now} open", fontsize=TEXT_PT, color=INK, loc="left", pad=4)
        if place < 3:
            axes.set_xlabel("")
    _state_key(figure)
    return to_png(figure)


def _state_key(figure: Figure) -> None:
    from matplotlib.patches import Patch

    hatches = ("", "..", "////", "", "xxxx")
    handles = [
        Patch(facecolor=state.colour, edgecolor=state.line if hatch else INK, linewidth=0.6, hatch=hatch,
              label=state.words)
        for state, hatch in zip(STATES, hatches, strict=True)
    ]  # fmt: skip
    figure.legend(handles=handles, loc="outside lower left", ncols=3, frameon=False, fontsize=SMALL_PT, labelcolor=INK,
                  handlelength=2.2, handleheight=1.1)  # fmt: skip


def sample_known(wheel: WheelFields, cut: HalfSection, name: str) -> Array:
    """Return a field on the pixels of a section as `sample`, but NaN where the nearest metal cell has no value."""
    known = sample_nearest(wheel, cut, np.isfinite(wheel.fields[name])) > 0.5
    return np.where(known, sample(wheel, cut, name), np.nan)


def niyama_png(wheel: WheelFields, scale: Scale | None = None, title: str = "") -> bytes:
    """Return the Niyama value along the way to the feeder in half section; grey where there is none.

    Parameters
    ----------
    wheel : WheelFields
        The wheel with the field `niyama`.
    scale : Scale, optional
        Colour scale to share with another wheel.
    title : str
        Title; a general one by default.

    Returns
    -------
    bytes
        PNG.
    """
    scale = scale or scale_of("niyama", wheel)
    figure = sheet(9.6, 4.9)
    headline(figure, title or "Niyama value along the way to the feeder", f"below {NIYAMA_WARN:g} (a line, "
             "where it occurs) porosity along the middle of the wall is likely; grey: cut off (see islands) or feeder; "
             "darker is worse")  # fmt: skip
    panels = figure.subplots(1, 2)
    for axes, cut in zip(panels, both_sections(wheel), strict=True):
        draw_frame(axes, cut, axes is panels[0])
        values = np.ma.masked_invalid(sample_known(wheel, cut, "niyama"))
        axes.contourf(cut.z_mm, cut.r_mm, cut.metal, levels=[0.5, 1.5], colors=[MISSING], zorder=1)
        picture = axes.imshow(values, origin="lower", extent=extent_of(cut), cmap=colour_map(scale.reverse),
                              vmin=scale.low, vmax=scale.high, interpolation="nearest", zorder=2)  # fmt: skip
        if values.count() and values.min() < NIYAMA_WARN < values.max():
            axes.contour(cut.z_mm, cut.r_mm, values, levels=[NIYAMA_WARN], colors=INK, linewidths=0.8, zorder=4)
    colour_bar(figure, picture, panels, scale)
    return to_png(figure)


def die_face_png(wheel: WheelFields, scale: Scale | None = None, title: str = "") -> bytes | None:
    """Return the peak temperature of the die's face, drawn along the outline of the half sections.

    Parameters
    ----------
    wheel : WheelFields
        The wheel with the field `die_peak_c`.
    scale : Scale, optional
        Colour scale to share with another wheel.
    title : str
        Title; a general one by default.

    Returns
    -------
    bytes or None
        PNG; None where no temperature is known.
    """
    if not np.isfinite(wheel.fields["die_peak_c"]).any():
        return None
    scale = scale or scale_of("die_peak_c", wheel)
    figure = sheet(9.6, 4.9)
    headline(figure, title or "How hot the die's face becomes", "highest temperature of the die where metal touches "
             "it, drawn along the outline of the casting")  # fmt: skip
    panels = figure.subplots(1, 2)
    for axes, cut in zip(panels, both_sections(wheel), strict=True):
        draw_frame(axes, cut, axes is panels[0])
        axes.collections[-1].set_visible(False)
        axes.contourf(cut.z_mm, cut.r_mm, cut.metal, levels=[0.5, 1.5], colors=["#f2f5f6"], zorder=1)
        lines = _face_lines(axes, wheel, cut, scale)
    colour_bar(figure, lines, panels, scale)
    return to_png(figure)


def _face_lines(axes: Axes, wheel: WheelFields, cut: HalfSection, scale: Scale) -> Any:
    """Draw the outline in short pieces, each in the colour of the nearest known temperature, and return them."""
    from matplotlib.collections import LineCollection

    pieces = short_pieces(cut.segments_mm)
    temps = face_temps(wheel, cut, pieces.mean(axis=1))
    lines = LineCollection(
        list(pieces), cmap=colour_map().with_extremes(bad=MISSING), linewidths=4.5, capstyle="round", zorder=6
    )
    lines.set_array(np.ma.masked_invalid(temps))
    lines.set_clim(scale.low, scale.high)
    axes.add_collection(lines)
    return lines


def short_pieces(segments_mm: Array) -> Array:
    """Return loose pieces of an outline cut into shorter ones, array (n, 2, 2) [mm]."""
    length = np.linalg.norm(segments_mm[:, 1] - segments_mm[:, 0], axis=1)
    count = np.maximum(1, np.ceil(length / PIECE_MM).astype(int))
    which = np.repeat(np.arange(count.size), count)
    step = np.arange(which.size) - np.repeat(np.cumsum(count) - count, count)
    shares = np.column_stack([step, step + 1]) / count[which][:, None]
    start, along = segments_mm[which, 0], segments_mm[which, 1] - segments_mm[which, 0]
    pieces: Array = start[:, None, :] + shares[:, :, None] * along[:, None, :]
    return pieces


def face_temps(wheel: WheelFields, cut: HalfSection, points_mm: Array) -> Array:
    """Return the peak temperature of the die's face [degC] near points (z, r) of a section; NaN where none is near."""
    from scipy.spatial import cKDTree

    field = wheel.fields["die_peak_c"]
    cells = np.argwhere(np.isfinite(field))
    tree = cKDTree(wheel.grid.origin_mm + wheel.grid.spacing_mm * (cells + 0.5))
    z, r = points_mm.T
    spots = np.column_stack([r * np.cos(cut.angle_rad), r * np.sin(cut.angle_rad), z])
    apart, found = tree.query(spots, distance_upper_bound=FETCH_CELLS * float(wheel.grid.spacing_mm))
    values = np.append(field[tuple(cells.T)].astype(float), np.nan)
    temps: Array = values[np.where(np.isfinite(apart), found, cells.shape[0])]
    return temps

"""One picture for each of the largest zones of risk: the wheel with its feeding margin, and the place itself, close."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import plain
from castq.report.canvas import SMALL_PT, headline, sheet, to_png
from castq.report.colours import INK, PAPER, QUIET, colour_map
from castq.report.fields import Scale, scale_of
from castq.report.section import (
    HalfSection,
    colour_bar,
    draw_frame,
    extent_of,
    field_panel,
    half_section,
    sample,
)
from castq.report.solid_places import DrawnWay, Group, drawn_way, grouped, last_place, metal_of
from castq.report.solid_words import at_places, capital
from castq.screening.fields import WheelFields
from castq.screening.solid_records import RegionRow, SolidSummary

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from castq.screening.solid import SolidDepth

# The close view reaches at least this far from the middle of the place.
LEAST_REACH_MM, ROOM_MM = 26.0, 12.0
OUTLINE, MARK = "#a3201d", 7.5
# Name under which the cells of the place are carried as a field.
MARKED = "at risk"


def region_pictures(
    wheel: WheelFields, solid: SolidDepth, summary: SolidSummary, most: int, side: str = ""
) -> dict[str, bytes]:
    """Return a picture for each of the largest zones of risk, copies around the wheel drawn once.

    Parameters
    ----------
    wheel : WheelFields
        The wheel with its times and margins.
    solid : SolidDepth
        Its islands and feeding paths.
    summary : SolidSummary
        Its zones of risk, the heaviest first.
    most : int
        How many to draw [-].
    side : str
        Design, for the titles; empty for one wheel.

    Returns
    -------
    dict of name to PNG
        `risk_1` and so on.
    """
    pictures = {}
    for number, group in enumerate(grouped(summary.regions, summary.voxel_mm)[:most], start=1):
        if group.row.quantity in wheel.fields and (metal := metal_of(wheel, group.row)).any():
            title = f"{side}{number}. {capital(plain(group.row.zone, 30))}: {plain(group.row.cause, 60)}"
            pictures[f"risk_{number}"] = region_png(wheel, solid, group, metal, title)
    return pictures


def region_png(
    wheel: WheelFields, solid: SolidDepth, group: Group[RegionRow], metal: NDArray[np.bool_], title: str
) -> bytes:
    """Return one zone of risk as PNG: its plane with the feeding margin, and the place itself, close.

    Parameters
    ----------
    wheel : WheelFields
        The wheel.
    solid : SolidDepth
        Its islands and feeding paths.
    group : Group
        The zone of risk with its copies.
    metal : bool array (nx, ny, nz)
        Its cells.
    title : str
        Title of the picture.

    Returns
    -------
    bytes
        PNG.
    """
    angle = float(np.radians(group.row.angle_deg))
    cut = half_section(wheel, angle, f"plane at {group.row.angle_deg:.0f}°: feeding margin")
    way = drawn_way(wheel, solid, last_place(wheel, metal), angle)
    marked = replace(wheel, fields={**wheel.fields, MARKED: metal.astype(np.float32)})
    figure = sheet(9.6, 5.2)
    headline(figure, title, f"{at_places(group)}. Red: its metal. Dark: way of feed metal, dotted where it leaves "
             "the plane")  # fmt: skip
    panels = figure.subplots(1, 2)
    near_mm = 2.0 * float(wheel.grid.spacing_mm)
    close = _cropped(cut, sample(marked, cut, MARKED) > 0.5, way, near_mm)
    scales = (
        scale_of("feeding_margin", wheel),
        _local(scale_of("cutoff_time_s", wheel), sample(wheel, close, "cutoff_time_s")),
    )
    for axes, part, scale in zip(panels, (cut, close), scales, strict=True):
        _panel(axes, marked, part, scale)
        _draw_way(axes, way, near_mm)
    _say(panels[0], way.line_mm[-1], "feeder", INK)
    _say(panels[1], way.line_mm[0], f"closes last, {way.last_s:.0f} s", INK)
    _say(panels[int(_shows(close, way.choke_mm))], way.choke_mm, f"choke, closes at {way.choke_s:.0f} s", OUTLINE)
    return to_png(figure)


def _cropped(cut: HalfSection, inside: NDArray[np.bool_], way: DrawnWay, near_mm: float) -> HalfSection:
    """Return the part of a section around a place and its last point, and its choke where that lies in the plane."""
    rows, columns = np.nonzero(inside)
    points = [way.line_mm[0], *([way.choke_mm] if way.choke_aside_mm <= near_mm else [])]
    z = np.array([*cut.z_mm[columns], *(point[0] for point in points)])
    r = np.array([*cut.r_mm[rows], *(point[1] for point in points)])
    reach = max(0.5 * max(np.ptp(z), np.ptp(r)) + ROOM_MM, LEAST_REACH_MM)
    near_z = np.abs(cut.z_mm - 0.5 * (z.min() + z.max())) <= reach
    near_r = np.abs(cut.r_mm - 0.5 * (r.min() + r.max())) <= reach
    metal = cut.metal[np.ix_(near_r, near_z)]
    return replace(
        cut, title="close: time to feeding cut-off", z_mm=cut.z_mm[near_z], r_mm=cut.r_mm[near_r], metal=metal
    )


def _shows(cut: HalfSection, at: NDArray[np.float64]) -> bool:
    """Return whether a point lies in a section."""
    return bool(cut.z_mm[0] <= at[0] <= cut.z_mm[-1] and cut.r_mm[0] <= at[1] <= cut.r_mm[-1])


def _local(scale: Scale, values: NDArray[np.float64]) -> Scale:
    """Return a scale that fits the values of a part."""
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    return replace(scale, low=low, high=max(high, low + 1e-3), below=False, above=False)


def _panel(axes: Axes, wheel: WheelFields, cut: HalfSection, scale: Scale) -> None:
    """Draw one field in a section with the border of the metal at risk, and its colour bar."""
    draw_frame(axes, cut, True)
    if scale.name == "cutoff_time_s":
        picture = field_panel(axes, wheel, cut, scale)
    else:
        values = np.ma.masked_invalid(sample(wheel, cut, scale.name))
        picture = axes.imshow(values, origin="lower", extent=extent_of(cut), cmap=colour_map(scale.reverse),
                              vmin=scale.low, vmax=scale.high, interpolation="nearest", zorder=2)  # fmt: skip
    border = sample(wheel, cut, MARKED)
    if np.nanmin(border) < 0.5 < np.nanmax(border):
        for colour, width in ((PAPER, 3.4), (OUTLINE, 1.8)):
            axes.contour(cut.z_mm, cut.r_mm, np.nan_to_num(border), levels=[0.5], colors=colour, linewidths=width,
                         zorder=7)  # fmt: skip
    figure = axes.get_figure(root=True)
    if figure is not None:
        colour_bar(figure, picture, [axes], scale)


def _draw_way(axes: Axes, way: DrawnWay, near_mm: float) -> None:
    """Draw the way to the feeder, dotted where it leaves the plane, with its first place, its choke and its end."""
    z, r = way.line_mm.T
    in_plane = np.where(way.aside_mm <= near_mm, r, np.nan)
    axes.plot(z, in_plane, color=PAPER, linewidth=3.2, zorder=8)
    axes.plot(z, r, color=INK, linewidth=1.3, linestyle=(0, (1, 1.6)), zorder=9)
    axes.plot(z, in_plane, color=INK, linewidth=1.6, zorder=9)
    marks = (
        (way.line_mm[0], "o", INK, MARK),
        (way.line_mm[-1], "s", INK, MARK),
        (way.choke_mm, "X", OUTLINE, MARK + 3),
    )
    for (at_z, at_r), marker, colour, size in marks:
        axes.plot(at_z, at_r, marker=marker, color=colour, markeredgecolor=PAPER, markersize=size, zorder=11)


def _say(axes: Axes, at: NDArray[np.float64], text: str, colour: str) -> None:
    """Write words beside a mark, on the side with more room, on a white ground."""
    left = at[0] > np.mean(axes.get_xlim())
    words = axes.annotate(text, xy=(at[0], at[1]), xytext=(-16 if left else 16, -26), textcoords="offset points",
                          ha="right" if left else "left", va="center", fontsize=SMALL_PT, color=colour,
                          fontweight="bold", zorder=13, annotation_clip=False,
                          bbox={"facecolor": PAPER, "alpha": 0.88, "edgecolor": "none", "pad": 1.2},
                          arrowprops={"arrowstyle": "-", "color": QUIET, "linewidth": 0.7, "shrinkA": 0})  # fmt: skip
    words.set_in_layout(False)

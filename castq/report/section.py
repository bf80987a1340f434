"""Half sections of the wheel through the middle of a spoke and of a window, coloured by results.

The outline comes from the mesh itself, so that thin walls are drawn at their true thickness; only the colours come
from the voxels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from castq.geometry.roles import ROLES
from castq.report.canvas import SMALL_PT, TEXT_PT, calm, headline, sheet, to_png
from castq.report.colours import INK, QUIET, VERDICTS, colour_map, rgb
from castq.report.fields import Scale, nice_ticks, scale_of
from castq.report.words import unit_text
from castq.screening.fields import WheelFields
from castq.screening.types import Screening

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PIXEL_MM = 0.5
# A number is written on its line only where the metal has room for it and no other number stands close.
LABEL_DEPTH_MM, LABEL_GAP_MM = 2.2, 11.0
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class HalfSection:
    """One half section.

    Attributes
    ----------
    title : str
        Words, for example `through a spoke`.
    angle_rad : float
        Angle of the half plane about the wheel axis [rad].
    segments_mm : array (n, 2, 2)
        Outline as loose pieces, (z, r) of both ends [mm].
    z_mm, r_mm : array
        Centres of the pixels along the axis and along the radius [mm].
    metal : bool array (r, z)
        Pixels inside the outline.
    """

    title: str
    angle_rad: float
    segments_mm: Array
    z_mm: Array
    r_mm: Array
    metal: NDArray[np.bool_]


def spoke_and_window_angles(wheel: WheelFields) -> tuple[float, float]:
    """Return the angles of the half planes with most and with least metal between hub and rim [rad]."""
    grid = wheel.grid
    centres = [grid.origin_mm[i] + grid.spacing_mm * (np.arange(grid.fraction.shape[i]) + 0.5) for i in range(3)]
    per_column = np.asarray(grid.fraction, dtype=float).sum(axis=2)
    outer = float(np.abs(wheel.mesh.vertices[:, :2]).max())
    radius = np.linspace(0.40, 0.72, 33) * outer
    angle = np.radians(np.arange(0.0, 360.0, 1.0))
    x, y = radius * np.cos(angle)[:, None], radius * np.sin(angle)[:, None]
    columns = np.rint((x - centres[0][0]) / grid.spacing_mm).astype(int).clip(0, per_column.shape[0] - 1)
    rows = np.rint((y - centres[1][0]) / grid.spacing_mm).astype(int).clip(0, per_column.shape[1] - 1)
    metal = per_column[columns, rows].sum(axis=1)
    # A few degrees of smoothing put the plane in the middle of the spoke and of the window, not on a bright pixel.
    weights = np.hanning(25)[1:-1]
    smooth = np.convolve(np.concatenate([metal[-11:], metal, metal[:11]]), weights, "valid")
    return float(angle[smooth.argmax()]), float(angle[smooth.argmin()])


def cut_mesh(wheel: WheelFields, angle_rad: float) -> Array:
    """Return the outline of the mesh in the half plane at an angle, as (z, r) of the ends of loose pieces [mm]."""
    # A hair beside the drawn plane, so that no corner of the mesh lies exactly in it.
    turned = angle_rad + 1.7e-5
    along = np.array([np.cos(turned), np.sin(turned)])
    across = np.array([-np.sin(turned), np.cos(turned)])
    side = wheel.mesh.vertices[:, :2] @ across
    faces = wheel.mesh.faces
    touched = faces[(side[faces] > 0).any(axis=1) & (side[faces] <= 0).any(axis=1)]
    ends = []
    for i, j in ((0, 1), (1, 2), (2, 0)):
        a, b = touched[:, i], touched[:, j]
        crosses = (side[a] > 0) != (side[b] > 0)
        share = side[a] / np.where(crosses, side[a] - side[b], 1.0)
        point = wheel.mesh.vertices[a] + share[:, None] * (wheel.mesh.vertices[b] - wheel.mesh.vertices[a])
        ends.append(np.where(crosses[:, None], np.column_stack([point[:, 2], point[:, :2] @ along]), np.nan))
    trio = np.stack(ends, axis=1)
    order = np.argsort(np.isnan(trio[:, :, 0]), axis=1, kind="stable")[:, :2]
    segments: Array = np.take_along_axis(trio, order[:, :, None], axis=1)
    return segments[(segments[:, :, 1] > 0).all(axis=1)]


def fill(segments_mm: Array, z_mm: Array, r_mm: Array) -> NDArray[np.bool_]:
    """Return which pixels lie inside an outline of loose pieces: an odd number of crossings along z.

    Parameters
    ----------
    segments_mm : array (n, 2, 2)
        Pieces, (z, r) of both ends [mm].
    z_mm, r_mm : array
        Centres of the pixels [mm].

    Returns
    -------
    bool array (r, z)
        True inside.
    """
    toggles = np.zeros((r_mm.size, z_mm.size + 1), dtype=np.int32)
    (z0, r0), (z1, r1) = segments_mm[:, 0].T, segments_mm[:, 1].T
    first = np.searchsorted(r_mm, np.minimum(r0, r1))
    last = np.searchsorted(r_mm, np.maximum(r0, r1))
    count = last - first
    piece = np.repeat(np.arange(len(segments_mm)), count)
    row = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)
    share = (r_mm[row] - r0[piece]) / (r1 - r0)[piece]
    column = np.searchsorted(z_mm, z0[piece] + share * (z1 - z0)[piece])
    np.add.at(toggles, (row, column), 1)
    return np.cumsum(toggles, axis=1)[:, :-1] % 2 == 1


def half_section(wheel: WheelFields, angle_rad: float, title: str) -> HalfSection:
    """Return the half section at an angle about the wheel axis [rad]."""
    low, high = wheel.mesh.vertices.min(axis=0), wheel.mesh.vertices.max(axis=0)
    outer = float(np.hypot(wheel.mesh.vertices[:, 0], wheel.mesh.vertices[:, 1]).max())
    z = np.arange(low[2] - 4.0, high[2] + 4.0, PIXEL_MM)
    r = np.arange(0.5 * PIXEL_MM, outer + 4.0, PIXEL_MM)
    segments = cut_mesh(wheel, angle_rad)
    return HalfSection(title, angle_rad, segments, z, r, fill(segments, z, r))


def both_sections(wheel: WheelFields) -> tuple[HalfSection, HalfSection]:
    """Return the half sections through a spoke and through a window."""
    spoke, window = spoke_and_window_angles(wheel)
    return half_section(wheel, spoke, "through a spoke"), half_section(wheel, window, "through a window")


def _cells(wheel: WheelFields, cut: HalfSection) -> list[Array]:
    """Return the place of each pixel in the voxel grid, in cells from the first cell's centre."""
    r, z = np.meshgrid(cut.r_mm, cut.z_mm, indexing="ij")
    xyz = (r * np.cos(cut.angle_rad), r * np.sin(cut.angle_rad), z)
    return [(v - wheel.grid.origin_mm[i]) / wheel.grid.spacing_mm - 0.5 for i, v in enumerate(xyz)]


def _nearest_known(values: Array, known: NDArray[np.bool_]) -> Array:
    from scipy.ndimage import distance_transform_edt

    if not known.any():
        return values
    index = distance_transform_edt(~known, return_distances=False, return_indices=True)
    return np.asarray(values[tuple(index)])


def sample(wheel: WheelFields, cut: HalfSection, name: str) -> Array:
    """Return a field on the pixels of a section, interpolated between metal cells only; NaN outside the outline."""
    from scipy.ndimage import map_coordinates

    values = wheel.fields[name]
    known = (wheel.zone_codes > 0) & np.isfinite(values)
    where = _cells(wheel, cut)
    total = map_coordinates(np.where(known, values, 0.0), where, order=1, output=np.float64)
    weight = map_coordinates(known.astype(np.float32), where, order=1, output=np.float64)
    mean = np.where(weight > 0.05, total / np.maximum(weight, 1e-9), np.nan)
    return np.where(cut.metal, _nearest_known(mean, np.isfinite(mean)), np.nan)


def sample_codes(wheel: WheelFields, cut: HalfSection) -> NDArray[np.int64]:
    """Return the zone code on the pixels of a section; 0 outside the outline."""
    return sample_nearest(wheel, cut, wheel.zone_codes).astype(np.int64)


def sample_nearest(wheel: WheelFields, cut: HalfSection, values: NDArray[Any]) -> Array:
    """Return values of the nearest metal cell on the pixels of a section; 0 outside the outline."""
    where = _cells(wheel, cut)
    index = tuple(np.rint(v).astype(int).clip(0, n - 1) for v, n in zip(where, wheel.zone_codes.shape, strict=True))
    return np.where(cut.metal, _nearest_known(values[index].astype(float), wheel.zone_codes[index] > 0), 0.0)


def draw_frame(axes: Axes, cut: HalfSection, first: bool) -> None:
    """Draw outline, axis and scales of a section; the radius is numbered where it is the first."""
    from matplotlib.collections import LineCollection

    axes.add_collection(LineCollection(list(cut.segments_mm), colors=INK, linewidths=0.9, zorder=6))
    axes.set_xlim(cut.z_mm[0], cut.z_mm[-1])
    low = extent_of(cut)[2]
    axes.set_ylim(low, cut.r_mm[-1])
    axes.set_aspect("equal")
    calm(axes, grid="")
    if low <= 0.0:
        axes.axhline(0.0, color=QUIET, linewidth=0.9, linestyle=(0, (8, 3, 1.5, 3)), clip_on=False)
    axes.set_title(cut.title, fontsize=TEXT_PT, color=INK, loc="left", pad=4)
    axes.set_xlabel("z along the axis [mm]", fontsize=SMALL_PT, color=QUIET)
    axes.tick_params(axis="y", colors=QUIET, labelleft=first)
    if first:
        axes.set_ylabel("radius [mm]", fontsize=SMALL_PT, color=QUIET)


def field_panel(axes: Axes, wheel: WheelFields, cut: HalfSection, scale: Scale) -> Any:
    """Draw a field with lines of equal value into a section and return the coloured picture."""
    values = np.ma.masked_invalid(sample(wheel, cut, scale.name))
    picture = axes.imshow(values, origin="lower", extent=extent_of(cut), cmap=colour_map(scale.reverse), vmin=scale.low,
                          vmax=scale.high, interpolation="nearest", zorder=2)  # fmt: skip
    if values.count() and np.ptp(values.compressed()) > 0:
        levels = nice_ticks(scale.low, scale.high, 7)
        lines = axes.contour(cut.z_mm, cut.r_mm, values, levels=levels, colors=INK, linewidths=0.55, zorder=4)
        _number_lines(axes, cut, levels, lines.allsegs)
    return picture


def _number_lines(axes: Axes, cut: HalfSection, levels: Sequence[float], lines: Sequence[Any]) -> None:
    """Write each level once, on its line where that runs deepest in the metal and clear of the other numbers."""
    from scipy.ndimage import distance_transform_edt

    depth = distance_transform_edt(cut.metal) * PIXEL_MM
    taken: list[Array] = []
    for level, pieces in zip(levels, lines, strict=True):
        points = np.concatenate([*pieces, np.empty((0, 2))])
        rows = np.clip(np.searchsorted(cut.r_mm, points[:, 1]), 0, cut.r_mm.size - 1)
        columns = np.clip(np.searchsorted(cut.z_mm, points[:, 0]), 0, cut.z_mm.size - 1)
        clear = depth[rows, columns]
        for other in taken:
            clear = np.where(np.hypot(*(points - other).T) < LABEL_GAP_MM, 0.0, clear)
        if clear.size and clear.max() > LABEL_DEPTH_MM:
            spot = points[clear.argmax()]
            taken.append(spot)
            axes.text(spot[0], spot[1], f"{level:g}", fontsize=6.8, color=INK, ha="center", va="center", zorder=7,
                      bbox={"facecolor": "white", "alpha": 0.82, "edgecolor": "none", "pad": 0.7})  # fmt: skip


def extent_of(cut: HalfSection) -> tuple[float, float, float, float]:
    """Return the edges of the picture of a section: left, right, bottom, top [mm]."""
    half = PIXEL_MM / 2
    return cut.z_mm[0] - half, cut.z_mm[-1] + half, cut.r_mm[0] - half, cut.r_mm[-1] + half


def _bar_label(scale: Scale) -> str:
    unit = unit_text(scale.unit)
    return f"{scale.label} [{unit}]" if unit else scale.label


def sections_png(wheel: WheelFields, name: str, scale: Scale | None = None, title: str = "") -> bytes:
    """Return the half sections through a spoke and through a window, coloured by one field.

    Parameters
    ----------
    wheel : WheelFields
        The wheel.
    name : str
        A field of the wheel.
    scale : Scale, optional
        Colour scale to share with another wheel; fitted to this one by default.
    title : str
        Title of the picture; the field's own words by default.

    Returns
    -------
    bytes
        PNG.
    """
    scale = scale or scale_of(name, wheel)
    figure = sheet(9.6, 4.9)
    side = "; darker is worse" if scale.better else ""
    headline(figure, title or f"{scale.label} in half section", "outline as drawn; lines of equal value carry their "
             f"number{side}")  # fmt: skip
    panels = figure.subplots(1, 2)
    for axes, cut in zip(panels, both_sections(wheel), strict=True):
        draw_frame(axes, cut, axes is panels[0])
        picture = field_panel(axes, wheel, cut, scale)
    colour_bar(figure, picture, panels, scale)
    return to_png(figure)


def colour_bar(figure: Figure, picture: Any, panels: Sequence[Axes], scale: Scale) -> None:
    """Draw the colour bar of a scale, with unit, at the right of some panels."""
    ends = {(False, False): "neither", (True, False): "min", (False, True): "max", (True, True): "both"}
    bar = figure.colorbar(picture, ax=list(panels), location="right", shrink=0.86, aspect=26, pad=0.02,
                          ticks=nice_ticks(scale.low, scale.high), extend=ends[scale.below, scale.above])  # fmt: skip
    bar.set_label(_bar_label(scale), fontsize=SMALL_PT, color=INK)
    bar.ax.tick_params(labelsize=SMALL_PT, length=2, colors=QUIET)
    bar.outline.set_visible(False)


def verdict_sections_png(wheel: WheelFields, screening: Screening) -> bytes:
    """Return the half sections with each zone in the tint of its verdict, named on the drawing.

    Parameters
    ----------
    wheel : WheelFields
        The wheel.
    screening : Screening
        The result, for the verdicts.

    Returns
    -------
    bytes
        PNG.
    """
    from matplotlib.patches import Patch

    verdicts = role_verdicts(screening)
    figure = sheet(9.6, 4.5)
    headline(
        figure, "Zones and their verdicts", "each zone in the tint of its worst check; boundaries as castq drew them"
    )
    panels = figure.subplots(1, 2)
    for axes, cut in zip(panels, both_sections(wheel), strict=True):
        codes = sample_codes(wheel, cut)
        draw_frame(axes, cut, axes is panels[0])
        picture = np.full((*codes.shape, 3), 255, dtype=np.uint8)
        for code in np.unique(codes[codes > 0]):
            picture[codes == code] = rgb(VERDICTS[verdicts[ROLES[code - 1]]].tint)
        axes.imshow(picture, origin="lower", extent=extent_of(cut), interpolation="nearest", zorder=2)
        axes.contour(cut.z_mm, cut.r_mm, codes, levels=np.arange(0.5, 9.0), colors=INK, linewidths=0.5, zorder=4)
        _name_zones(axes, cut, codes, verdicts)
    shown = sorted(set(verdicts.values()), key=lambda v: -VERDICTS[v].rank)
    looks = [VERDICTS[verdict] for verdict in shown]
    handles = [Patch(facecolor=k.tint, edgecolor=INK, linewidth=0.5, label=f"{k.sign}  {k.word}") for k in looks]
    figure.legend(handles=handles, loc="outside lower left", ncols=5, frameon=False, fontsize=SMALL_PT, labelcolor=INK)
    return to_png(figure)


def role_verdicts(screening: Screening) -> dict[str, str]:
    """Return the worst verdict of each role, `no limit` where the table has no row for it."""
    worst = dict.fromkeys(ROLES, "no limit")
    for role, verdict in zip(screening.zones["role"], screening.zones["risk"], strict=True):
        worst[role] = max(worst[role], str(verdict), key=lambda v: VERDICTS[v].rank)
    return worst


def _name_zones(axes: Axes, cut: HalfSection, codes: NDArray[np.int64], verdicts: dict[str, str]) -> None:
    """Name each zone beside the drawing, with a line to its middle, spread so that the names keep apart."""
    marks = []
    for code in np.unique(codes[codes > 0]):
        rows, columns = np.nonzero(codes == code)
        if rows.size * PIXEL_MM**2 < 30.0:
            continue
        middle = np.argmin((rows - rows.mean()) ** 2 + (columns - columns.mean()) ** 2)
        marks.append((cut.r_mm[rows[middle]], cut.z_mm[columns[middle]], ROLES[code - 1]))
    marks.sort()
    gap = 0.068 * cut.r_mm[-1]
    heights = np.array([m[0] for m in marks], dtype=float)
    for i in range(1, heights.size):
        heights[i] = max(heights[i], heights[i - 1] + gap)
    heights -= max(0.0, heights[-1] - 0.98 * cut.r_mm[-1]) if heights.size else 0.0
    for (r, z, role), height in zip(marks, heights, strict=True):
        look = VERDICTS[verdicts[role]]
        line = {"arrowstyle": "-", "color": QUIET, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 0}
        axes.annotate(f"{look.sign}  {role}", xy=(z, r), xytext=(cut.z_mm[-1] + 6.0, height), fontsize=SMALL_PT,
                      color=look.colour, va="center", annotation_clip=False, zorder=8, arrowprops=line)  # fmt: skip
        axes.plot([z], [r], marker="o", markersize=2.6, color=INK, zorder=8)

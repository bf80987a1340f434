"""A still picture of the cut wheel, drawn in numpy: what the report shows where its turning view cannot run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numba import njit
from numpy.typing import NDArray

from castq.report.canvas import SMALL_PT, headline, sheet, to_png
from castq.report.colours import INK, MISSING, QUIET, colour_map, paint, rgb
from castq.report.fields import Scale, nice_ticks, scale_of
from castq.report.section import spoke_and_window_angles
from castq.report.words import unit_text
from castq.screening.fields import WheelFields

if TYPE_CHECKING:
    from matplotlib.cm import ScalarMappable

Array = NDArray[np.float64]
WIDE_PX, HIGH_PX, OVERSAMPLE = 1100, 700, 2
# The eye stands a little beside the cut, which runs through the middle of a spoke, and looks down at it.
ASIDE_RAD, PITCH_RAD = 0.22, 1.02
# The surface takes its colour from this far behind it, where metal cells are.
BEHIND_CELLS = 0.7
LEAST_WEIGHT = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """An orthographic view: rows of `turn` are right, up and toward the eye; the cut removes what lies before it."""

    turn: Array
    centre_mm: Array
    px_per_mm: float
    cut: Array


def _view(wheel: WheelFields) -> _View:
    spoke, _ = spoke_and_window_angles(wheel)
    yaw = spoke + ASIDE_RAD
    cut = np.array([np.sin(spoke), -np.cos(spoke), 0.0])
    vertices = np.asarray(wheel.mesh.vertices, dtype=float)
    vertices = vertices[vertices @ cut <= 0.0]
    cy, sy, cp, sp = np.cos(yaw), np.sin(yaw), np.cos(PITCH_RAD), np.sin(PITCH_RAD)
    turn = np.array([[cy, sy, 0.0], [-cp * sy, cp * cy, sp], [sp * sy, -sp * cy, cp]])
    seen = vertices @ turn.T
    low, high = seen.min(axis=0), seen.max(axis=0)
    scale = 0.94 * OVERSAMPLE * min(WIDE_PX / (high - low)[0], HIGH_PX / (high - low)[1])
    centre = np.array([*(0.5 * (low + high))[:2], 0.0]) @ turn
    return _View(turn, centre, float(scale), cut)


def _screen(points: Array, view: _View) -> Array:
    """Return pixel column, pixel row and depth (larger is nearer) of points [mm]."""
    seen = (points - view.centre_mm) @ view.turn.T
    seen[..., 0] = seen[..., 0] * view.px_per_mm + WIDE_PX * OVERSAMPLE / 2
    seen[..., 1] = HIGH_PX * OVERSAMPLE / 2 - seen[..., 1] * view.px_per_mm
    return seen


@njit(cache=True)
def _nearest(corners, cut, width, height):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return for every pixel the nearest triangle that survives the cut (-1 for none) and its depth there.

    `corners` holds column, row, depth and distance before the cut of each corner.
    """
    face = np.full((height, width), -1, dtype=np.int64)
    depth = np.full((height, width), -np.inf)
    for n in range(corners.shape[0]):
        a, b, c = corners[n, 0], corners[n, 1], corners[n, 2]
        area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        if abs(area) < 1e-9 or min(a[3], b[3], c[3]) > cut:
            continue
        for row in range(max(0, int(min(a[1], b[1], c[1]))), min(height, int(max(a[1], b[1], c[1])) + 1)):
            for column in range(max(0, int(min(a[0], b[0], c[0]))), min(width, int(max(a[0], b[0], c[0])) + 1)):
                x, y = column + 0.5 - a[0], row + 0.5 - a[1]
                wb = (x * (c[1] - a[1]) - y * (c[0] - a[0])) / area
                wc = ((b[0] - a[0]) * y - (b[1] - a[1]) * x) / area
                if wb < 0.0 or wc < 0.0 or wb + wc > 1.0:
                    continue
                here = a + wb * (b - a) + wc * (c - a)
                if here[3] <= cut and here[2] > depth[row, column]:
                    depth[row, column] = here[2]
                    face[row, column] = n
    return face, depth


def _field_at(wheel: WheelFields, name: str, points_mm: Array) -> Array:
    """Return a field at points in the metal, interpolated between metal cells only; NaN where none is near."""
    from scipy.ndimage import map_coordinates

    values = wheel.fields[name]
    known = (wheel.zone_codes > 0) & np.isfinite(values)
    where = ((points_mm - wheel.grid.origin_mm) / wheel.grid.spacing_mm - 0.5).T
    weight = map_coordinates(known.astype(np.float32), where, order=1, mode="nearest")
    total = map_coordinates(np.where(known, values, np.float32(0.0)), where, order=1, mode="nearest")
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(weight > LEAST_WEIGHT, total / weight, np.nan), dtype=float)


def render(wheel: WheelFields, scale: Scale) -> NDArray[np.uint8]:
    """Return the cut wheel as an image coloured by a field.

    Parameters
    ----------
    wheel : WheelFields
        The wheel.
    scale : Scale
        Field and colour scale.

    Returns
    -------
    uint8 array (rows, columns, 3)
        Red, green, blue [0 to 255].
    """
    view = _view(wheel)
    kept = wheel.mesh.triangles
    corners = np.concatenate([_screen(kept, view), (kept @ view.cut)[..., None]], axis=-1)
    face, depth = _nearest(corners, 0.0, WIDE_PX * OVERSAMPLE, HIGH_PX * OVERSAMPLE)
    row, column = np.nonzero(face >= 0)
    normal = wheel.mesh.face_vectors
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    colours = np.ones((*face.shape, 3))
    point = _world(row, column, depth[row, column], view)
    colours[row, column] = _shade(wheel, scale, view, point, normal[face[row, column]])
    image = colours.reshape(HIGH_PX, OVERSAMPLE, WIDE_PX, OVERSAMPLE, 3).mean(axis=(1, 3))
    return np.rint(255.0 * image).astype(np.uint8)


def _world(row: NDArray[np.int64], column: NDArray[np.int64], depth: Array, view: _View) -> Array:
    """Return the positions of pixels at given depths [mm]."""
    right = (column + 0.5 - WIDE_PX * OVERSAMPLE / 2) / view.px_per_mm
    up = (HIGH_PX * OVERSAMPLE / 2 - row - 0.5) / view.px_per_mm
    position: Array = np.column_stack([right, up, depth]) @ view.turn + view.centre_mm
    return position


def _shade(wheel: WheelFields, scale: Scale, view: _View, point: Array, normal: Array) -> Array:
    eye = view.turn[2]
    facing = normal @ eye
    # A back face in front means the eye looks into cut metal: show the plane of the cut there.
    cut = facing < 0
    behind = point - BEHIND_CELLS * wheel.grid.spacing_mm * normal
    spot = np.where(cut[:, None], point - np.outer((point @ view.cut) / (eye @ view.cut), eye), behind)
    values = _field_at(wheel, scale.name, spot)
    colour = paint((values - scale.low) / (scale.high - scale.low), scale.reverse)
    colour[~np.isfinite(values)] = np.array(rgb(MISSING)) / 255.0
    light = 0.70 + 0.22 * np.abs(facing) + 0.14 * np.clip(normal @ view.turn.T @ np.array([-0.5, 0.7, 0.5]), 0, 1)
    lit: Array = np.clip(colour * np.where(cut, 1.0, light)[:, None], 0.0, 1.0)
    return lit


def still_png(wheel: WheelFields, name: str, title: str = "", scale: Scale | None = None) -> bytes:
    """Return the still picture with title, colour bar, units and numbers.

    Parameters
    ----------
    wheel : WheelFields
        The wheel.
    name : str
        A field of the wheel.
    title : str
        Title; the field's own words by default.
    scale : Scale, optional
        Colour scale to share with another wheel; fitted to this one by default.

    Returns
    -------
    bytes
        PNG.
    """
    scale = scale or scale_of(name, wheel)
    unit = unit_text(scale.unit)
    heading = f"{scale.label} [{unit}]" if unit else scale.label
    figure = sheet(8.6, 6.4)
    headline(figure, title or f"{scale.label} in the cut wheel", "cut through the axis; " +
             ("darker is worse" if scale.better else "colours by value"))  # fmt: skip
    axes = figure.subplots()
    axes.imshow(render(wheel, scale), interpolation="lanczos")
    axes.set_axis_off()
    bar = figure.colorbar(_mappable(scale), ax=axes, location="bottom", shrink=0.6, aspect=40, pad=0.02,
                          ticks=nice_ticks(scale.low, scale.high))  # fmt: skip
    bar.set_label(heading, fontsize=SMALL_PT, color=INK)
    bar.ax.tick_params(labelsize=SMALL_PT, length=2, colors=QUIET)
    bar.outline.set_visible(False)
    return to_png(figure)


def _mappable(scale: Scale) -> ScalarMappable:
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    return ScalarMappable(norm=Normalize(scale.low, scale.high), cmap=colour_map(scale.reverse))

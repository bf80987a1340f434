"""What a wheel shows of itself in voxels, with z its axis: rim outlines, hub, spoke ends, bolts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from castq.core.errors import input_error
from castq.geometry.roles import LARGEST_JUNCTION_SHARE
from castq.geometry.voxels import Grid

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

OPEN_SHARE = 0.97  # a circle with less metal than this runs through windows
CLOSED_SHARE = 0.985
DEEPEST_RING_MM = 70.0
NEAR_END_MM = 30.0
ROOT_GROWTH = 0.1  # a root grows no more than this between the last whole section and the wall
SMALLEST_LIP_MM = 5.0
FOOT_RISE_MM = 2.0  # the flange starts where the outline has risen this much above the bead seat


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """The voxels of a grid that hold metal, in polar terms.

    Attributes
    ----------
    place : int array (n, 3)
        Indices along x, y and z [-].
    radius_mm, height_mm : array (n,)
        Of the voxel centres [mm].
    fraction : array (n,)
        Filled share [-].
    ring : int array (n,)
        Number of the circular band, one voxel wide, that the voxel lies in [-].
    columns : int array (rings,)
        Number of voxel columns in each band [-].
    closed : array (rings,)
        Share of each band that holds metal at any height [-].
    seen : array (nx, ny)
        Largest filled share in each voxel column [-].
    """

    place: Integers
    radius_mm: Array
    height_mm: Array
    fraction: Array
    ring: Integers
    columns: Integers
    closed: Array
    seen: Array


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """The rim's outlines at each height of the grid, and the feet of its flanges.

    Attributes
    ----------
    outer_mm, inner_mm : array (nz,)
        Outer and inner radius [mm].
    low_foot_mm, high_foot_mm : float
        Heights at which the flanges end on the bead seats [mm].
    low_foot_radius_mm, high_foot_radius_mm : float
        Radii there [mm].
    """

    outer_mm: Array
    inner_mm: Array
    low_foot_mm: float
    high_foot_mm: float
    low_foot_radius_mm: float
    high_foot_radius_mm: float


@dataclass(frozen=True, slots=True)
class SpokeEnds:
    """How far the junctions reach along the spokes from hub and rim [mm], and how many spokes end at each [-]."""

    at_hub_mm: float
    at_rim_mm: float
    count_hub: int
    count_rim: int
    middle_height_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Bolts:
    """Bolt axes, array (n, 2) of x and y [mm], and the radius of the widest bore round them [mm]."""

    axes_mm: Array
    seat_radius_mm: float


def metal_cells(grid: Grid) -> Cells:
    """Return the voxels with metal.

    Parameters
    ----------
    grid : Grid
        The wheel; its axis is z through x = y = 0 [mm].

    Returns
    -------
    Cells
        Voxels with any metal [-].
    """
    x, y, z = grid.centres_mm
    radius = np.hypot(x[:, None], y[None, :])
    ring = (radius / grid.spacing_mm).astype(np.int64)
    columns = np.bincount(ring.ravel())
    flat = np.flatnonzero(grid.fraction)
    fraction = grid.fraction.ravel()[flat].astype(float)
    column, k = np.divmod(flat, grid.shape[2])
    i, j = np.divmod(column, grid.shape[1])
    seen = np.zeros(radius.size)
    start = np.flatnonzero(np.diff(column, prepend=-1))
    seen[column[start]] = np.maximum.reduceat(fraction, start)
    return Cells(
        place=np.column_stack([i, j, k]),
        radius_mm=radius.ravel()[column],
        height_mm=z[k],
        fraction=fraction,
        ring=ring.ravel()[column],
        columns=columns,
        closed=np.bincount(ring.ravel(), weights=seen) / np.maximum(columns, 1),
        seen=seen.reshape(radius.shape),
    )


def find_rim(grid: Grid, cells: Cells, source: str = "shape") -> tuple[Rim, tuple[str, ...]]:
    """Return the rim's outlines.

    Parameters
    ----------
    grid : Grid
        The wheel [mm].
    cells : Cells
        Its voxels with metal [-].
    source : str
        File name, for error messages.

    Returns
    -------
    tuple of Rim, tuple of str
        The outlines, and warnings.
    """
    rings, layers, h = len(cells.columns), grid.shape[2], grid.spacing_mm
    filled = np.bincount(cells.ring * layers + cells.place[:, 2], weights=cells.fraction, minlength=rings * layers)
    share = filled.reshape(rings, layers) / np.maximum(cells.columns, 1)[:, None]
    layer = np.arange(layers)
    first = rings - 1 - np.argmax(share[::-1] >= 0.5, axis=0)
    peak = first - np.argmax(share[np.maximum(first - np.arange(3)[:, None], 0), layer], axis=0)
    beyond = np.where(np.arange(rings)[:, None] > peak, share, 0.0).sum(axis=0)
    outer = h * (peak + 1 + beyond)
    inner = h * (peak + 1 - _wall_rings(share, peak, h))
    closed = share[peak, layer]
    beside = np.maximum(np.roll(closed, 1), np.roll(closed, -1))
    sound = (closed >= 0.6) & (closed >= 0.93 * beside)  # layers that the rim's edges fill in part say nothing
    if np.count_nonzero(sound) < 5:
        raise input_error(source, "", "no closed ring round the wheel axis", "a rim", "check the axis and the unit")
    nearest = np.argmin(np.abs(layer[:, None] - layer[sound]), axis=1)
    outer, inner = outer[sound][nearest], inner[sound][nearest]
    return _with_feet(grid, outer, inner, layer[sound])


def _wall_rings(share: Array, peak: Integers, h: float) -> Array:
    """Return the rim's thickness inward from the outer edge of band `peak` at each height [bands].

    Further in, the spokes hold a share of the circle; what exceeds that share is the rim.
    """
    inward = np.arange(int(DEEPEST_RING_MM / h) + 2)[:, None]
    band = share[np.maximum(peak - inward, 0), np.arange(share.shape[1])]
    fall = (band[:-1] < 0.93 * band[:1]) & (band[:-1] - band[1:] < 0.04)
    last = np.argmax(fall, axis=0)
    spokes = band[last, np.arange(band.shape[1])]
    ring = np.where(inward < last, (band - spokes) / np.maximum(1.0 - spokes, 0.05), 0.0)
    return np.asarray(ring.sum(axis=0))


def _with_feet(grid: Grid, outer: Array, inner: Array, sound: Integers) -> tuple[Rim, tuple[str, ...]]:
    """Return the rim with the feet of its flanges: where the outline, seen from the edge, stops falling steeply."""
    z, h = grid.centres_mm[2], grid.spacing_mm
    feet, warnings = [], []
    for side, name in ((1, "lower"), (-1, "upper")):
        line = sound[::side]
        line = line[: max(6, int(0.25 * len(line)))]
        top = int(np.argmax(outer[line]))
        fall = outer[line[top]] - outer[line]
        flat = np.append(outer[line[:-1]] - outer[line[1:]] < 0.3 * h, True)
        found = (np.arange(len(line)) > top) & flat & (fall > SMALLEST_LIP_MM)
        at = int(np.argmax(found)) if found.any() else min(len(line) - 1, int(12.0 / h))
        if not found.any():
            warnings.append(f"no flange lip was found at the {name} edge of the rim; its outer 12 mm are taken for it")
        seat = outer[line[at]]
        part = (FOOT_RISE_MM / max(float(outer[line[at - 1]] - seat), FOOT_RISE_MM)) if at > 0 else 0.5
        feet.append((float(z[line[at]]) - side * h * part, float(seat)))
    (low, low_radius), (high, high_radius) = feet
    return Rim(outer, inner, low, high, low_radius, high_radius), tuple(warnings)


def find_hub_radius_mm(grid: Grid, cells: Cells, rim: Rim, source: str = "shape") -> float:
    """Return the radius at which the windows end toward the centre.

    Parameters
    ----------
    grid : Grid
        The wheel [mm].
    cells : Cells
        Its voxels with metal [-].
    rim : Rim
        Outlines of the rim [mm].
    source : str
        File name, for error messages.

    Returns
    -------
    float
        Radius of the hub [mm].
    """
    h = grid.spacing_mm
    closed = cells.closed
    start = int(rim.inner_mm.min() / h) - 1
    inward = closed[start::-1]
    opening = int(np.argmax(inward < OPEN_SHARE))
    after = np.flatnonzero(inward[opening:] >= CLOSED_SHARE)
    if inward[opening] >= OPEN_SHARE or len(after) == 0:
        raise input_error(
            source,
            "",
            "no windows between hub and rim",
            "a wheel with spokes",
            "check the axis, or give the sections in a table",
        )
    full = start - opening - int(after[0])
    edge, clear = closed[full + 1], closed[full + 2]
    return h * (full + 1 + float(np.clip((edge - clear) / max(1.0 - clear, 0.02), 0.0, 1.0)))


def find_spoke_ends(grid: Grid, cells: Cells, rim: Rim, hub_radius_mm: float) -> SpokeEnds:
    """Return how thick the spokes are where they meet hub and rim.

    Parameters
    ----------
    grid : Grid
        The wheel [mm].
    cells : Cells
        Its voxels with metal [-].
    rim : Rim
        Outlines of the rim [mm].
    hub_radius_mm : float
        Radius of the hub [mm].

    Returns
    -------
    SpokeEnds
        Junction lengths: the smaller of axial height and tangential width, at most a share of the spoke [mm].
    """
    h = grid.spacing_mm
    inner = rim.inner_mm[cells.place[:, 2]]
    spoke = (cells.radius_mm > hub_radius_mm) & (cells.radius_mm < inner - 1.2 * h)
    clear = rim.inner_mm.min()
    outer_part = spoke & (cells.radius_mm > hub_radius_mm + 0.75 * (clear - hub_radius_mm)) & (cells.radius_mm < clear)
    middle = float(np.average(cells.height_mm[outer_part], weights=cells.fraction[outer_part]))
    end = float(np.interp(middle, grid.centres_mm[2], rim.inner_mm))
    most = LARGEST_JUNCTION_SHARE * (end - hub_radius_mm)
    lengths, counts = [], []
    for radius, way in ((hub_radius_mm, 1.0), (end, -1.0)):
        count = _count_spokes(
            grid, cells.seen, radius + way * np.array([0.1, 0.15, 0.2, 0.25, 0.3]) * (end - hub_radius_mm)
        )
        part = np.flatnonzero(spoke & (way * (cells.radius_mm - radius) < NEAR_END_MM + 3.0 * h))
        columns = _columns(grid, cells, part, rim)
        height, width = _section_at_end(columns, way * (columns.radius_mm - radius), h)
        lengths.append(min(height, width / max(count, 1), most))
        counts.append(count)
    return SpokeEnds(lengths[0], lengths[1], counts[0], counts[1], middle)


@dataclass(frozen=True, slots=True, eq=False)
class _Columns:
    """Voxel columns through spokes: radius and height [mm], covered share and whether the rim cuts them off [-]."""

    radius_mm: Array
    height_mm: Array
    covered: Array
    cut: NDArray[np.bool_]


def _columns(grid: Grid, cells: Cells, part: Integers, rim: Rim) -> _Columns:
    """Return the columns that the cells numbered `part` stand in."""
    h, place, fraction = grid.spacing_mm, cells.place[part], cells.fraction[part]
    column = place[:, 0] * grid.shape[1] + place[:, 1]
    start = np.flatnonzero(np.append(True, np.diff(column) != 0))
    last = np.append(start[1:], len(column)) - 1
    low, high = place[start, 2], place[last, 2]
    radius = cells.radius_mm[part][start]
    beyond = np.minimum(rim.inner_mm[np.maximum(low - 1, 0)], rim.inner_mm[np.minimum(high + 1, grid.shape[2] - 1)])
    height = h * (high - low - 1.0 + fraction[start] + fraction[last])
    return _Columns(radius, height, np.maximum.reduceat(fraction, start), radius >= beyond - 1.2 * h)


def _section_at_end(columns: _Columns, depth: Array, h: float) -> tuple[float, float]:
    """Return the axial height of a spoke and the width of all together where they end [mm].

    `depth` runs from the end into the spoke. A column that the rim cuts off does not show the spoke's height, so the
    first whole ones count.
    """
    near = (depth >= h) & (depth < 3.0 * h)
    width = float(columns.covered[near].sum()) * h / 2.0
    whole = (depth >= h) & (columns.covered > 0.9) & ~columns.cut
    if not whole.any():
        return np.inf, width
    nearest = float(np.quantile(depth[whole], 0.02))
    first, second = (whole & (depth >= nearest + a * h) & (depth < nearest + (a + 2) * h) for a in (-1, 1))
    height = float(np.quantile(columns.height_mm[first], 0.85))
    if second.any():
        growth = (height - float(np.quantile(columns.height_mm[second], 0.85))) / (2.0 * h)
        height += float(np.clip(growth * nearest, 0.0, ROOT_GROWTH * height))
    return height, width


def _count_spokes(grid: Grid, seen: Array, radii_mm: Array) -> int:
    """Return the middle number of separate spokes met on circles of these radii."""
    counts = []
    for radius in radii_mm:
        angle = np.linspace(0.0, 2.0 * np.pi, int(8.0 * np.pi * radius / grid.spacing_mm), endpoint=False)
        points = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros_like(angle)])
        i, j, _ = grid.index(points).T
        metal = seen[i, j] >= 0.5
        counts.append(int(np.count_nonzero(metal & ~np.roll(metal, 1))))
    return int(np.median(counts))


def find_bolts(grid: Grid, cells: Cells, hub_radius_mm: float) -> Bolts:
    """Return the bolt axes: the like holes on one circle that go through the hub beside its bore.

    Parameters
    ----------
    grid : Grid
        The wheel [mm].
    cells : Cells
        Its voxels with metal [-].
    hub_radius_mm : float
        Radius of the hub [mm].

    Returns
    -------
    Bolts
        Axes and counterbore radius [mm]; no axes when there are no such holes.
    """
    x, y, _ = grid.centres_mm
    half = int(np.ceil(hub_radius_mm / grid.spacing_mm)) + 1
    ci, cj = np.searchsorted(x, 0.0), np.searchsorted(y, 0.0)
    cut = (slice(max(ci - half, 0), ci + half), slice(max(cj - half, 0), cj + half))
    block = grid.fraction[cut]
    xx, yy = np.meshgrid(x[cut[0]], y[cut[1]], indexing="ij")
    radius = np.hypot(xx, yy)
    empty = 1.0 - cells.seen[cut]
    label, count = ndimage.label((empty > 0.5) & (radius < hub_radius_mm - grid.spacing_mm))
    number = np.arange(1, count + 1)
    near = ndimage.grey_dilation(label, size=(3, 3))
    area = np.asarray(ndimage.sum_labels(empty, near, number)) * grid.spacing_mm**2
    centre = np.array([[np.average(g[near == n], weights=empty[near == n]) for g in (xx, yy)] for n in number])
    centre = centre.reshape(-1, 2)
    out = np.hypot(centre[:, 0], centre[:, 1])
    hole = (out > 0.3 * hub_radius_mm) & (area > 40.0) & (area < 1500.0)
    if not hole.any():
        return Bolts(np.zeros((0, 2)), 0.0)
    size = np.sqrt(area)
    like = hole & (np.abs(out - np.median(out[hole])) < 4.0) & (np.abs(size / np.median(size[hole]) - 1.0) < 0.25)
    bore = np.sqrt(area[~hole & (out < 10.0)].sum() / np.pi)
    axes = centre[like]
    return Bolts(axes, _seat_radius(block, xx, yy, axes, (float(bore), hub_radius_mm), h=grid.spacing_mm))


def _seat_radius(
    block: NDArray[np.float32], xx: Array, yy: Array, axes: Array, walls: tuple[float, float], *, h: float
) -> float:
    """Return the radius of the widest bore round the bolt axes, from the missing area at each height [mm]."""
    circle = float(np.hypot(*axes.T).mean())
    chord = 2.0 * circle * np.sin(np.pi / max(len(axes), 2))
    reach = min(circle - walls[0], walls[1] - circle, chord / 2.0) - 0.5
    radius = np.hypot(xx, yy)
    edge = (radius > walls[1] - 3.0 * h) & (radius < walls[1] - h)
    layers = np.flatnonzero(block[edge].mean(axis=0) > 0.6)[1:-1]  # the faces fill their layers in part
    near = np.min([np.hypot(xx - x, yy - y) for x, y in axes], axis=0) < reach
    missing = (1.0 - block[near][:, layers]).sum(axis=0) * h**2 / len(axes)
    return float(np.sqrt(np.quantile(missing, 0.9) / np.pi)) if len(layers) else 10.0

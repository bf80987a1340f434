"""From a triangle mesh to the filled share of each voxel, with exact heights along z.

Vertical lines, 3 x 3 to a voxel, are cut with the facets; between its cuts a line runs in metal wherever the winding
number is not zero. Bodies that overlap therefore count once, cavities stay empty, and a line whose cuts do not close
shows a leak in the mesh.
"""

# Compiled kernels take plain arrays, each by itself.

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from castq.core.errors import input_error
from castq.geometry.mesh import Mesh

LEAK_WARN_SHARE = 0.001
LEAK_REFUSE_SHARE = 0.05
MAX_GRID_BYTES = 400_000_000
SUB_COLUMNS = 3
# A leaky line still votes, but only where no sound line of any direction passes.
_LEAKY_WEIGHT = 1e-3
# Keeps the lines off round coordinates, where drawn corners and edges lie.
_OFF_ROUND = 1.37e-4

FloatField = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """A regular grid of cubic voxels with the share of each that is metal.

    Attributes
    ----------
    fraction : float32 array (nx, ny, nz)
        Filled share of each voxel [-].
    origin_mm : array (3,)
        Lower corner of the first voxel [mm].
    spacing_mm : float
        Edge of a voxel [mm].
    leak_share : float
        Share of the scan lines through the part whose cuts do not close [-]; zero for a closed mesh.
    """

    fraction: FloatField
    origin_mm: NDArray[np.float64]
    spacing_mm: float
    leak_share: float = 0.0

    @property
    def shape(self) -> tuple[int, int, int]:
        """Number of voxels along x, y and z."""
        nx, ny, nz = self.fraction.shape
        return nx, ny, nz

    @property
    def centres_mm(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Voxel centres along x, y and z [mm]."""
        x, y, z = (
            start + self.spacing_mm * (np.arange(count) + 0.5)
            for start, count in zip(self.origin_mm, self.shape, strict=True)
        )
        return x, y, z

    @property
    def volume_mm3(self) -> float:
        """Volume of the metal [mm3]."""
        return float(self.fraction.sum(dtype=np.float64)) * self.spacing_mm**3

    @property
    def solid(self) -> NDArray[np.bool_]:
        """Voxels that are at least half filled."""
        return self.fraction >= 0.5

    def index(self, points_mm: ArrayLike) -> NDArray[np.int64]:
        """Return the voxel indices of points; points outside get the nearest voxel of the grid.

        Parameters
        ----------
        points_mm : array_like (..., 3)
            Positions [mm].

        Returns
        -------
        int array (..., 3)
            Indices along x, y and z [-].
        """
        cells = np.floor((np.asarray(points_mm, dtype=float) - self.origin_mm) / self.spacing_mm).astype(np.int64)
        return np.clip(cells, 0, np.array(self.shape) - 1)


def voxelise(mesh: Mesh, spacing_mm: float = 2.0, margin: int = 2, source: str = "mesh") -> Grid:
    """Return the voxel grid of a mesh, centred on its bounding box.

    Parameters
    ----------
    mesh : Mesh
        The part [mm].
    spacing_mm : float
        Edge of a voxel [mm].
    margin : int
        Empty voxels around the part [-].
    source : str
        File name, for error messages.

    Returns
    -------
    Grid
        Filled shares; `leak_share` above `LEAK_WARN_SHARE` deserves a warning.

    Raises
    ------
    InputError
        If the mesh is empty or not finite, the grid would be too large, or more than 5 % of the lines leak.
    """
    origin, shape = _frame(mesh, spacing_mm, margin, source)
    fraction, weight, leak_share = rasterise(mesh, origin, spacing_mm, shape)
    if leak_share > LEAK_REFUSE_SHARE:
        raise input_error(
            source, "", f"{100 * leak_share:.1f} % of the scan lines through the part do not close",
            "a closed surface with facets turned outwards", "close the holes and unify the normals, then export again",
        )  # fmt: skip
    if leak_share > 0.0:
        fraction = _vote(mesh, origin, spacing_mm, fraction, weight)
    return Grid(fraction, origin, float(spacing_mm), leak_share)


def _frame(mesh: Mesh, spacing_mm: float, margin: int, source: str) -> tuple[NDArray[np.float64], tuple[int, int, int]]:
    """Return origin and shape of the grid, or refuse a mesh that cannot be put on one."""
    if not (np.isfinite(spacing_mm) and spacing_mm > 0.0):
        raise input_error("voxel size", "", f"{spacing_mm:g} mm", "a size above 0 mm", "give for example 2 mm")
    if len(mesh.faces) == 0 or not np.all(np.isfinite(mesh.vertices)):
        raise input_error(
            source, "", "no facets, or a corner that is not finite", "a closed surface", "export the part again"
        )
    low, high = mesh.bounds
    counts = np.ceil((high - low) / spacing_mm) + 2 * max(margin, 1)
    size = 4.0 * float(np.prod(counts))
    if size > MAX_GRID_BYTES:
        fits = 0.1 * np.ceil(10.0 * spacing_mm * 1.03 * np.cbrt(size / MAX_GRID_BYTES))
        raise input_error(
            source, "", f"voxels of {spacing_mm:g} mm would make a grid of {size / 1e6:.0f} MB",
            f"at most {MAX_GRID_BYTES / 1e6:.0f} MB", f"use voxels of {fits:.1f} mm or larger",
        )  # fmt: skip
    nx, ny, nz = (int(count) for count in counts)
    return 0.5 * (low + high) - 0.5 * spacing_mm * counts, (nx, ny, nz)


def rasterise(
    mesh: Mesh,
    origin_mm: NDArray[np.float64],
    spacing_mm: float,
    shape: tuple[int, int, int],
    sub_columns: int = SUB_COLUMNS,
) -> tuple[FloatField, FloatField, float]:
    """Return the filled shares of a given grid from lines along z; the part must lie inside the grid.

    Parameters
    ----------
    mesh : Mesh
        The part [mm].
    origin_mm : array (3,)
        Lower corner of the first voxel [mm].
    spacing_mm : float
        Edge of a voxel [mm].
    shape : tuple of int
        Number of voxels along x, y and z [-].
    sub_columns : int
        Lines to a voxel, along x and along y [-].

    Returns
    -------
    tuple of float32 array (nx, ny, nz), float32 array (nx, ny), float
        Filled shares [-], share of sound lines in each voxel column [-], leaky share of the lines that cut it [-].
    """
    scaled = (mesh.vertices - origin_mm) / spacing_mm
    scaled[:, :2] *= sub_columns
    nx, ny, nz = shape
    shift_x, shift_y = _shifts(ny * sub_columns, sub_columns), _shifts(nx * sub_columns, sub_columns)
    faces = np.ascontiguousarray(mesh.faces)
    capacity = _expected_cuts(scaled, faces)
    while True:
        cuts = (np.empty(capacity, np.int64), np.empty(capacity, np.float64), np.empty(capacity, np.int8))
        found = _cuts(scaled, faces, shift_x, shift_y, sub_columns, *cuts)
        if found <= capacity:
            break
        capacity = found
    column, height, turn = (values[:found] for values in cuts)
    fraction = np.zeros((nx, ny, nz), dtype=np.float32)
    weight = np.ones((nx, ny), dtype=np.float32)
    start, place = np.zeros(nx * ny * sub_columns**2 + 1, np.int64), np.empty(nx * ny * sub_columns**2, np.int64)
    z, t = np.empty_like(height), np.empty_like(turn)
    _order(column, height, turn, start, place, z, t)
    leaky = _fill(start, z, t, sub_columns**2, fraction, weight)
    return fraction, weight, float(leaky / max(np.count_nonzero(np.diff(start)), 1))


def _shifts(count: int, sub_columns: int) -> NDArray[np.float64]:
    """Return where in its cell each line of a row lies [-].

    The lines of a voxel lie at different places, and at others in the next voxel, so that a wall along an axis is
    resolved far finer than the lines are apart.
    """
    order = np.argsort((np.arange(sub_columns) * 0.618034 + 0.4) % 1.0)
    line = np.arange(count)
    dither = (line // sub_columns * 0.618034 + 0.5) % 1.0
    return (order[line % sub_columns] + dither) / sub_columns + _OFF_ROUND


def _expected_cuts(scaled: NDArray[np.float64], faces: NDArray[np.int64]) -> int:
    """Return the area of all facets seen along z, in lines, and some to spare."""
    x, y = scaled[:, 0], scaled[:, 1]
    a, b, c = faces.T
    seen = np.abs((x[b] - x[a]) * (y[c] - y[a]) - (y[b] - y[a]) * (x[c] - x[a])).sum()
    return int(0.5 * 1.05 * seen) + 4096


def _vote(
    mesh: Mesh,
    origin_mm: NDArray[np.float64],
    spacing_mm: float,
    fraction: FloatField,
    weight: FloatField,
) -> FloatField:
    """Return the filled shares with leaky columns replaced by what sound lines along x and y say."""
    total = weight[:, :, None] + _LEAKY_WEIGHT * (1.0 - weight[:, :, None]) + np.zeros_like(fraction)
    summed = fraction * total
    for roll, back in (((1, 2, 0), (2, 0, 1)), ((2, 0, 1), (1, 2, 0))):
        turned = Mesh(mesh.vertices[:, roll], mesh.faces)
        shape = tuple(fraction.shape[axis] for axis in roll)
        other, sound, _ = rasterise(turned, origin_mm[list(roll)], spacing_mm, shape)
        share = np.broadcast_to((sound + _LEAKY_WEIGHT * (1.0 - sound))[:, :, None], other.shape)
        summed += (other * share).transpose(back)
        total += share.transpose(back)
    return np.where(weight[:, :, None] < 1.0, summed / total, fraction).astype(np.float32)


@njit(cache=True, nogil=True)
def _edge(xs, ys, corner, edge):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store start, direction and sense of the edge opposite a corner: the same numbers for both facets at it."""
    a, b = (corner + 1) % 3, (corner + 2) % 3
    edge[4] = 1.0
    if xs[a] > xs[b] or (xs[a] == xs[b] and ys[a] > ys[b]):
        a, b = b, a
        edge[4] = -1.0
    edge[0], edge[1], edge[2], edge[3] = xs[a], ys[a], xs[b] - xs[a], ys[b] - ys[a]


@njit(cache=True, nogil=True)
def _side(edge, x, y):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return on which side of an edge a line runs; never zero, so that no line slips through between two facets."""
    area = edge[2] * (y - edge[1]) - edge[3] * (x - edge[0])
    return edge[4] * (area if area != 0.0 else 1e-300)


@njit(cache=True, nogil=True)
def _strip(xs, ys, left):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the lowest and highest y of a triangle inside the strip left <= x <= left + 1."""
    low, high = 1e30, -1e30
    for corner in range(3):
        following = (corner + 1) % 3
        x0, y0, x1, y1 = xs[corner], ys[corner], xs[following], ys[following]
        if x0 > x1:
            x0, y0, x1, y1 = x1, y1, x0, y0
        if x1 < left or x0 > left + 1.0:
            continue
        slope = (y1 - y0) / (x1 - x0) if x1 > x0 else 0.0
        first = y0 + slope * (left - x0) if x0 < left else y0
        last = y0 + slope * (left + 1.0 - x0) if x1 > left + 1.0 else y1
        low, high = min(low, first, last), max(high, first, last)
    return low, high


@njit(cache=True, nogil=True)
def _cuts(vertices, faces, shift_x, shift_y, n, column, height, turn):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store line, height and turn (+1 into the metal going up) of each cut of a line with a facet; count them."""
    found = 0
    nx, ny = shift_y.size, shift_x.size
    xs, ys, zs, edges = np.empty(3), np.empty(3), np.empty(3), np.empty((3, 5))
    for face in range(faces.shape[0]):
        for corner in range(3):
            vertex = faces[face, corner]
            xs[corner], ys[corner], zs[corner] = vertices[vertex, 0], vertices[vertex, 1], vertices[vertex, 2]
        for corner in range(3):
            _edge(xs, ys, corner, edges[corner])
        for i in range(int(min(xs[0], xs[1], xs[2])), min(int(max(xs[0], xs[1], xs[2])), nx - 1) + 1):
            low, high = _strip(xs, ys, float(i))
            for j in range(max(int(low - 1e-6), 0), min(int(high + 1e-6), ny - 1) + 1):
                x, y = i + shift_x[j], j + shift_y[i]
                w0, w1, w2 = _side(edges[0], x, y), _side(edges[1], x, y), _side(edges[2], x, y)
                if (w0 > 0.0) != (w1 > 0.0) or (w1 > 0.0) != (w2 > 0.0):
                    continue
                if found < column.size:
                    column[found] = ((i // n) * (ny // n) + j // n) * n * n + (i % n) * n + j % n
                    height[found] = (w0 * zs[0] + w1 * zs[1] + w2 * zs[2]) / (w0 + w1 + w2)
                    turn[found] = -1 if w0 > 0.0 else 1
                found += 1
    return found


@njit(cache=True, nogil=True)
def _add(row, bottom, top, amount):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add the length bottom .. top of one line to the voxels of its column."""
    first, last = int(bottom), int(top)
    if first == last:
        row[first] += amount * (top - bottom)
        return
    row[first] += amount * (first + 1 - bottom)
    for k in range(first + 1, last):
        row[k] += amount
    row[last] += amount * (top - last)


@njit(cache=True, nogil=True)
def _order(column, height, turn, start, place, z, t):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Bring the cuts into the order of the lines, `start` telling where each line begins, and sort each by height."""
    for cut in range(column.size):
        start[column[cut] + 1] += 1
    for line in range(1, start.size):
        start[line] += start[line - 1]
    for line in range(place.size):
        place[line] = start[line]
    for cut in range(column.size):
        line = column[cut]
        spot = place[line]
        place[line] += 1
        while spot > start[line] and z[spot - 1] > height[cut]:
            z[spot], t[spot] = z[spot - 1], t[spot - 1]
            spot -= 1
        z[spot], t[spot] = height[cut], turn[cut]


@njit(cache=True, nogil=True)
def _line(row, z, t, first, last):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add one line to its column and return its weight; a leaky line is read by parity if it can be."""
    total = 0
    for cut in range(first, last):
        total += t[cut]
    sound, even = total == 0, (last - first) % 2 == 0
    amount = 1.0 if sound else _LEAKY_WEIGHT
    winding = 0
    for cut in range(first, last - 1):
        winding += t[cut]
        if (sound and winding != 0) or (not sound and even and (cut - first) % 2 == 0):
            _add(row, z[cut], z[cut + 1], amount)
    return amount


@njit(cache=True, nogil=True)
def _fill(start, z, t, lines, fraction, weight):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Fill `fraction` and `weight` from the ordered cuts; return the number of leaky lines."""
    nx, ny, nz = fraction.shape
    leaky = 0
    for i in range(nx):
        for j in range(ny):
            first = (i * ny + j) * lines
            if start[first] == start[first + lines]:
                continue
            row = fraction[i, j]
            total, bad = 0.0, 0
            for line in range(first, first + lines):
                amount = _line(row, z, t, start[line], start[line + 1])
                total += amount
                bad += amount < 1.0
            for k in range(nz):
                row[k] /= total
            weight[i, j] = 1.0 - bad / lines
            leaky += bad
    return leaky

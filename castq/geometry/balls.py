"""The largest balls that fit inside a surface, found from samples of it.

At each starting sample the largest ball that touches the surface there from inside is found against all other
samples, and against the plane of the one it touches, so that plates come out exact.
"""

# Compiled kernels take plain arrays, each by itself.

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numba import njit
from numpy.typing import NDArray

from castq.core.errors import input_error
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import Grid

SAMPLE_SPACING_MM = 1.2
# Each sixth sample starts a ball.
_START_EVERY = 6
_SAMPLES = (60_000, 1_200_000)
# Steps of the two-dimensional golden sequence.
_SEQUENCE = (0.7548776662466927, 0.5698402909980532)
# Cell of the search table, in spacings.
_CELL = 2.5
_FIRST_RADIUS_MM = 5.0
# A touching sample's plane counts while the ball touches it no farther from the sample than this, in spacings.
_PLANE_REACH = 1.0
# One ball is kept in a cell of this size, which doubles with the ball from twice this radius on.
_THINNING_MM = 2.0
_THINNING_RADIUS_MM = 6.0
# A ball is a corner's when a larger one near by exceeds it by this share of the distance: in a wedge of 60 degrees the
# radius grows by 0.50 of the way, in the corner of a box by 0.58. Near: radii or starting points, within limits.
_CORNER_GROWTH = 0.45
_CORNER_REACH = 1.5
_CORNER_REACH_MM = (6.0, 9.0)

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Points spread evenly over a surface.

    Attributes
    ----------
    points_mm : array (n, 3)
        Positions [mm].
    normals : array (n, 3)
        Outward unit normals [-].
    area_mm2 : float
        Area that each point stands for [mm2].
    """

    points_mm: Points
    normals: Points
    area_mm2: float

    @property
    def spacing_mm(self) -> float:
        """Distance between neighbours [mm]."""
        return float(np.sqrt(self.area_mm2))


def surface_samples(mesh: Mesh, grid: Grid) -> Samples:
    """Return samples of the surface, the same ones each time, without those inside the metal where bodies overlap.

    Parameters
    ----------
    mesh : Mesh
        The casting, closed [mm].
    grid : Grid
        Its voxels, in the same place [mm].

    Returns
    -------
    Samples
        Points, normals and the area of each.
    """
    samples = _spread_evenly(mesh)
    here = grid.fraction[tuple(grid.index(samples.points_mm).T)]
    ahead = grid.fraction[tuple(grid.index(samples.points_mm + grid.spacing_mm * samples.normals).T)]
    keep = (here < 0.999) | (ahead < 0.999)
    if keep.all():
        return samples
    return Samples(samples.points_mm[keep], samples.normals[keep], samples.area_mm2)


def _spread_evenly(mesh: Mesh) -> Samples:
    """Return samples by a low-discrepancy sequence in each facet, as many as its area calls for."""
    vectors = mesh.face_vectors * (1.0 if mesh.volume_mm3 >= 0.0 else -1.0)
    areas = np.linalg.norm(vectors, axis=1)
    total = float(areas.sum())
    count = int(np.clip(total / SAMPLE_SPACING_MM**2, *_SAMPLES))
    place = np.arange(count)
    face = np.searchsorted(np.cumsum(areas), (place + 0.5) * total / count).clip(0, len(areas) - 1)
    u, v = (place * _SEQUENCE[0]) % 1.0, (place * _SEQUENCE[1]) % 1.0
    folded = u + v > 1.0
    u[folded], v[folded] = 1.0 - u[folded], 1.0 - v[folded]
    a, b, c = (mesh.vertices[mesh.faces[face, corner]] for corner in range(3))
    points = a + u[:, None] * (b - a) + v[:, None] * (c - a)
    return Samples(points, vectors[face] / areas[face, None], total / count)


def in_threads(kernel: Callable[..., None], count: int, *arguments: object) -> None:
    """Run a compiled kernel over a range, in pieces, one thread a core.

    Parameters
    ----------
    kernel : callable
        Takes first, last and the arguments; writes only the elements first .. last of its results.
    count : int
        Length of the range [-].
    *arguments
        Passed on to the kernel.
    """
    threads = min(os.cpu_count() or 1, 8)
    # More pieces than threads, so that none waits long for the others.
    edges = np.linspace(0, count, 4 * threads + 1).astype(int)
    with ThreadPoolExecutor(threads) as pool:
        for done in [pool.submit(kernel, *pair, *arguments) for pair in pairwise(edges)]:
            done.result()


def inner_balls(samples: Samples, grid: Grid) -> tuple[Points, NDArray[np.float64]]:
    """Return the largest balls that fit inside the surface, without those that only fill corners.

    Parameters
    ----------
    samples : Samples
        The surface [mm].
    grid : Grid
        Voxels of the casting [mm].

    Returns
    -------
    tuple of array (n, 3), array (n,)
        Centres and radii, the largest first [mm].

    Raises
    ------
    InputError
        If no ball fits, because the surface is not closed.
    """
    centres, radii = _thinned(*_largest_balls(samples, grid))
    corner = _corners(centres, radii, grid, samples.spacing_mm * np.sqrt(_START_EVERY))
    return centres[~corner], radii[~corner]


def _largest_balls(samples: Samples, grid: Grid) -> tuple[Points, NDArray[np.float64]]:
    """Return centres and radii of the largest balls that touch the surface from inside [mm]."""
    cell = _CELL * samples.spacing_mm
    low = samples.points_mm.min(axis=0) - 1e-6
    shape = np.floor((samples.points_mm.max(axis=0) - low) / cell).astype(np.int64) + 1
    x, y, z = np.floor((samples.points_mm - low) / cell).astype(np.int64).T
    key = (x * shape[1] + y) * shape[2] + z
    order = np.argsort(key, kind="stable")
    start = np.concatenate([[0], np.cumsum(np.bincount(key, minlength=int(shape.prod())))])
    table = np.hstack([samples.points_mm - low, samples.normals])[order]
    begin = np.flatnonzero(order % _START_EVERY == 0)
    radii = np.zeros(len(begin))
    limit = 0.5 * float(np.max(np.ptp(samples.points_mm, axis=0)))
    reach = _PLANE_REACH * samples.spacing_mm
    in_threads(_touch, len(begin), table, start, shape, cell, begin, limit, reach, radii)
    centres = table[begin, :3] + low - radii[:, None] * table[begin, 3:]
    inside = grid.fraction[tuple(grid.index(centres).T)] > 0.0
    keep = (radii > 0.0) & (inside | (radii < grid.spacing_mm))
    if not keep.any():
        raise input_error("mesh", "", "no wall could be measured", "a closed surface", "export the part as a solid")
    return centres[keep], radii[keep]


def _thinned(centres: Points, radii: NDArray[np.float64]) -> tuple[Points, NDArray[np.float64]]:
    """Return the largest ball of each small cell, largest first; cells grow with the balls."""
    level = np.maximum(np.floor(np.log2(radii / _THINNING_RADIUS_MM)), 0.0)
    cell = _THINNING_MM * 2.0**level
    key = np.floor((centres - centres.min(axis=0)) / cell[:, None]).astype(np.int64)
    order = np.lexsort((key[:, 2], key[:, 1], key[:, 0], -radii))
    packed = ((level.astype(np.int64) * 4096 + key[:, 0]) * 4096 + key[:, 1]) * 4096 + key[:, 2]
    _, first = np.unique(packed[order], return_index=True)
    kept = order[np.sort(first)]
    return centres[kept], radii[kept]


def _corners(centres: Points, radii: NDArray[np.float64], grid: Grid, apart_mm: float) -> NDArray[np.bool_]:
    """Return which balls, largest first, fill corners: these are not thin walls."""
    largest = np.full(grid.shape, -1, dtype=np.int32)
    cells = grid.index(centres)
    # Written from the smallest on, so that the largest of a voxel stays.
    largest[tuple(cells[::-1].T)] = np.arange(len(radii), dtype=np.int32)[::-1]
    corner = np.zeros(len(radii), dtype=np.bool_)
    away_mm = np.clip(_CORNER_REACH * np.maximum(radii, apart_mm), *_CORNER_REACH_MM)
    reach = np.ceil(away_mm / grid.spacing_mm).astype(np.int64)
    in_threads(_in_corner, len(radii), largest, cells, centres, radii, reach, corner)
    return corner


@njit(cache=True, nogil=True)
def _shrunk(table, start, shape, cell, p, radius):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return radius and touching sample (or -1) of the largest ball at sample p inside the ball of a given radius."""
    px, py, pz, nx, ny, nz = table[p]
    touched = -1
    cx, cy, cz = px - radius * nx, py - radius * ny, pz - radius * nz
    i0, i1 = max(int((cx - radius) / cell), 0), min(int((cx + radius) / cell), shape[0] - 1)
    j0, j1 = max(int((cy - radius) / cell), 0), min(int((cy + radius) / cell), shape[1] - 1)
    k0, k1 = max(int((cz - radius) / cell), 0), min(int((cz + radius) / cell), shape[2] - 1)
    for i in range(i0, i1 + 1):
        x = max(i * cell - cx, 0.0, cx - (i + 1) * cell)
        for j in range(j0, j1 + 1):
            y = max(j * cell - cy, 0.0, cy - (j + 1) * cell)
            rest = radius * radius - x * x - y * y
            if rest <= 0.0:
                continue
            row = (i * shape[1] + j) * shape[2]
            half = np.sqrt(rest)
            a, b = max(int((cz - half) / cell), k0), min(int((cz + half) / cell), k1)
            for q in range(start[row + a], start[row + b + 1] if b >= a else start[row + a]):
                dx, dy, dz = px - table[q, 0], py - table[q, 1], pz - table[q, 2]
                deep = dx * nx + dy * ny + dz * nz
                square = dx * dx + dy * dy + dz * dz
                if deep > 0.0 and square < 2.0 * radius * deep:
                    radius, touched = square / (2.0 * deep), q
                    cx, cy, cz = px - radius * nx, py - radius * ny, pz - radius * nz
    return radius, touched


@njit(cache=True, nogil=True)
def _against_plane(table, p, q, radius, reach):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the radius of the ball at p that touches the plane of sample q, if it does so near q."""
    along = table[p, 3] * table[q, 3] + table[p, 4] * table[q, 4] + table[p, 5] * table[q, 5]
    if along > 0.5:
        return radius
    exact, off = 0.0, 0.0
    for axis in range(3):
        exact += (table[q, axis] - table[p, axis]) * table[q, 3 + axis]
    exact /= 1.0 - along
    for axis in range(3):
        off += (table[p, axis] - exact * table[p, 3 + axis] + exact * table[q, 3 + axis] - table[q, axis]) ** 2
    return exact if 0.0 < exact < radius and off < reach * reach else radius


@njit(cache=True, nogil=True)
def _touch(first, last, table, start, shape, cell, begin, limit, reach, radii):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store the radius of the largest ball at each starting sample; 0 where nothing is touched."""
    for index in range(first, last):
        radius = _FIRST_RADIUS_MM
        while radius < 2.0 * limit:
            found, touched = _shrunk(table, start, shape, cell, begin[index], radius)
            if touched >= 0:
                radii[index] = _against_plane(table, begin[index], touched, found, reach)
                break
            radius *= 2.0


@njit(cache=True, nogil=True)
def _grows(largest, cells, centres, radii, reach, ball):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return whether a neighbour is larger than the ball by what a corner makes of their distance."""
    nx, ny, nz = largest.shape
    i, j, k = cells[ball]
    for a in range(max(i - reach, 0), min(i + reach, nx - 1) + 1):
        for b in range(max(j - reach, 0), min(j + reach, ny - 1) + 1):
            for c in range(max(k - reach, 0), min(k + reach, nz - 1) + 1):
                other = largest[a, b, c]
                if 0 <= other < ball:
                    away = 0.0
                    for axis in range(3):
                        away += (centres[other, axis] - centres[ball, axis]) ** 2
                    if radii[other] - radii[ball] > _CORNER_GROWTH * np.sqrt(away):
                        return True
    return False


@njit(cache=True, nogil=True)
def _in_corner(first, last, largest, cells, centres, radii, reach, corner):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Mark each ball beside which balls grow as they do into a corner."""
    for ball in range(first, last):
        corner[ball] = _grows(largest, cells, centres, radii, reach[ball], ball)

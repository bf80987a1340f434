"""The surface of a casting as small flat patches, so that each voxel knows how much true surface it holds."""

# Compiled kernels take plain arrays, each by itself.

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from castq.geometry.mesh import Mesh
from castq.geometry.voxels import Grid, rasterise
from castq.thermal.die_growth import Sector

# Longest edge of a patch, in voxels.
PATCH_EDGE = 0.5
# Edge, in voxels, of the pieces among which those of a sector are picked.
COARSE_EDGE = 4.0
_STACK = 256

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Patches:
    """Small pieces of a surface.

    Attributes
    ----------
    points_mm : array (n, 3)
        Middle of each piece [mm].
    normals : array (n, 3)
        Outward unit normal [-].
    area_mm2 : array (n,)
        Area [mm2]; all together the area of the surface.
    """

    points_mm: NDArray[np.floating]
    normals: NDArray[np.floating]
    area_mm2: Array


def surface_patches(mesh: Mesh, grid: Grid, sector: Sector | None = None) -> Patches:
    """Return the surface in patches finer than the voxels, without what lies inside the metal where bodies overlap.

    Parameters
    ----------
    mesh : Mesh
        The casting, closed [mm].
    grid : Grid
        Its voxels, in the same place [mm].
    sector : Sector, optional
        Part of the casting whose patches are wanted, with some beyond its planes.

    Returns
    -------
    Patches
        Points, normals and areas.
    """
    corners = mesh.triangles
    if mesh.volume_mm3 < 0.0:
        corners = corners[:, ::-1]
    if sector is not None:
        corners = _pieces(corners, COARSE_EDGE * grid.spacing_mm)
        x, y = corners.mean(axis=1)[:, :2].T
        corners = corners[sector.beyond_mm(x, y) <= 2.0 * COARSE_EDGE * grid.spacing_mm]
    count = _split(corners := np.ascontiguousarray(corners), (PATCH_EDGE * grid.spacing_mm) ** 2, *_room(0))
    points, normals, area, _ = room = _room(count)
    _split(corners, (PATCH_EDGE * grid.spacing_mm) ** 2, *room)
    kept = _keep_bare(points, normals, area, grid.fraction, grid.origin_mm, grid.spacing_mm)
    return Patches(points[:kept], normals[:kept], area[:kept])


def _room(count: int, pieces: int = 0) -> tuple[NDArray[np.float32], NDArray[np.float32], Array, Array]:
    """Return room for middles, normals and areas of patches, and for corners of pieces."""
    return (np.empty((count, 3), np.float32), np.empty((count, 3), np.float32), np.empty(count),
            np.empty((pieces, 3, 3)))  # fmt: skip


def _pieces(corners: Array, edge_mm: float) -> Array:
    """Return triangles whose longest edge is at most a length, array (n, 3, 3) [mm]."""
    corners = np.ascontiguousarray(corners)
    room = _room(0, _split(corners, edge_mm**2, *_room(0)))
    _split(corners, edge_mm**2, *room)
    return room[-1]


@njit(cache=True, nogil=True)
def _keep_bare(points, normals, area, fraction, origin, spacing):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Keep the patches that have a voxel not full of metal at them or a voxel further out; return their number."""
    kept = 0
    for n in range(area.size):
        least = 2.0
        for ahead in range(2):
            cell = [0, 0, 0]
            for axis in range(3):
                at = (points[n, axis] + ahead * spacing * normals[n, axis] - origin[axis]) / spacing
                cell[axis] = min(max(int(np.floor(at)), 0), fraction.shape[axis] - 1)
            least = min(least, fraction[cell[0], cell[1], cell[2]])
        if least < 0.999 and area[n] > 0.0:
            points[kept], normals[kept], area[kept] = points[n], normals[n], area[n]
            kept += 1
    return kept


def true_fractions(mesh: Mesh, grid: Grid, patches: Patches) -> Grid:
    """Return the grid with the share of each cut voxel taken from lines across the surface in it.

    Lines along a wall resolve where it lies no finer than they are apart; lines across it are exact.

    Parameters
    ----------
    mesh : Mesh
        The casting, closed [mm].
    grid : Grid
        Its voxels, in the same place [mm].
    patches : Patches
        Its surface [mm].

    Returns
    -------
    Grid
        The same voxels; unchanged if the mesh leaks.
    """
    if grid.leak_share > 0.0:
        return grid
    facing = np.zeros((*grid.shape, 3), dtype=np.float32)
    _add_facing(patches.points_mm, patches.normals, patches.area_mm2, grid.origin_mm, grid.spacing_mm, facing)
    fraction = grid.fraction.copy()
    for axis, roll, back in ((0, (1, 2, 0), (2, 0, 1)), (1, (2, 0, 1), (1, 2, 0))):
        turned = Mesh(mesh.vertices[:, roll], mesh.faces)
        shape = (grid.shape[roll[0]], grid.shape[roll[1]], grid.shape[roll[2]])
        other = rasterise(turned, grid.origin_mm[list(roll)], grid.spacing_mm, shape)[0].transpose(back)
        _take_other(facing, axis, other, fraction)
    return replace(grid, fraction=np.clip(fraction, 0.0, 1.0, out=fraction))


@njit(cache=True, nogil=True)
def _add_facing(points, normals, area, origin, spacing, facing):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add up how much surface in each voxel looks along x, y and z."""
    for n in range(area.size):
        cell = [0, 0, 0]
        for axis in range(3):
            cell[axis] = min(max(int(np.floor((points[n, axis] - origin[axis]) / spacing)), 0), facing.shape[axis] - 1)
        for axis in range(3):
            facing[cell[0], cell[1], cell[2], axis] += area[n] * normals[n, axis] ** 2


@njit(cache=True, nogil=True)
def _take_other(facing, axis, other, fraction):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Take the shares of lines along an axis, x or y, for voxels whose surface looks that way most."""
    nx, ny, nz = fraction.shape
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                x, y, z = facing[i, j, k]
                most = (x, y)[axis]
                if most > 0.0 and most >= x and most >= y and most >= z and (axis == 0 or most > x):
                    fraction[i, j, k] = other[i, j, k]


@njit(cache=True, nogil=True)
def _store(corners, n, points, normals, area):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store middle, unit normal and area of a triangle."""
    a, b, c = corners
    normal = (
        (b[1] - a[1]) * (c[2] - a[2]) - (b[2] - a[2]) * (c[1] - a[1]),
        (b[2] - a[2]) * (c[0] - a[0]) - (b[0] - a[0]) * (c[2] - a[2]),
        (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]),
    )
    length = np.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)
    area[n] = 0.5 * length
    for axis in range(3):
        points[n, axis] = (a[axis] + b[axis] + c[axis]) / 3.0
        normals[n, axis] = normal[axis] / max(length, 1e-300)


@njit(cache=True, nogil=True)
def _split(corners, longest, points, normals, area, pieces):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Halve each triangle at its longest edge until that is short; store the pieces where there is room, count them."""
    stack = np.empty((_STACK, 3, 3))
    found = 0
    for face in range(corners.shape[0]):
        stack[0] = corners[face]
        depth = 1
        while depth > 0:
            depth -= 1
            edge, square = 0, -1.0
            for e in range(3):
                length = 0.0
                for axis in range(3):
                    length += (stack[depth, (e + 1) % 3, axis] - stack[depth, e, axis]) ** 2
                if length > square:
                    edge, square = e, length
            if square <= longest or depth + 2 > _STACK:
                if found < pieces.shape[0]:
                    pieces[found] = stack[depth]
                if found < area.size:
                    _store(stack[depth], found, points, normals, area)
                found += 1
                continue
            a, b, c = edge, (edge + 1) % 3, (edge + 2) % 3
            for axis in range(3):
                middle = 0.5 * (stack[depth, a, axis] + stack[depth, b, axis])
                start, end, tip = stack[depth, a, axis], stack[depth, b, axis], stack[depth, c, axis]
                stack[depth, 0, axis], stack[depth, 1, axis], stack[depth, 2, axis] = start, middle, tip
                stack[depth + 1, 0, axis], stack[depth + 1, 1, axis], stack[depth + 1, 2, axis] = middle, end, tip
            depth += 2
    return found

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

    points_mm: Array
    normals: Array
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
        beyond = np.hypot(*(a - b for a, b in zip((x, y), sector.folded(x, y), strict=True)))
        corners = corners[beyond <= 4.0 * COARSE_EDGE * grid.spacing_mm]
    pieces = _pieces(corners, PATCH_EDGE * grid.spacing_mm)
    points, normals, area = np.empty((len(pieces), 3)), np.empty((len(pieces), 3)), np.empty(len(pieces))
    _measure(pieces, points, normals, area)
    here = grid.fraction[tuple(grid.index(points).T)]
    ahead = grid.fraction[tuple(grid.index(points + grid.spacing_mm * normals).T)]
    keep = ((here < 0.999) | (ahead < 0.999)) & (area > 0.0)
    return Patches(points[keep], normals[keep], area[keep])


def _pieces(corners: Array, edge_mm: float) -> Array:
    """Return triangles whose longest edge is at most a length, array (n, 3, 3) [mm]."""
    corners = np.ascontiguousarray(corners)
    pieces = np.empty((_split(corners, edge_mm**2, np.empty((0, 3, 3))), 3, 3))
    _split(corners, edge_mm**2, pieces)
    return pieces


@njit(cache=True, nogil=True)
def _measure(pieces, points, normals, area):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store middle, unit normal and area of each triangle."""
    for n in range(pieces.shape[0]):
        a, b, c = pieces[n, 0], pieces[n, 1], pieces[n, 2]
        square = 0.0
        for axis in range(3):
            i, j = (axis + 1) % 3, (axis + 2) % 3
            points[n, axis] = (a[axis] + b[axis] + c[axis]) / 3.0
            normals[n, axis] = (b[i] - a[i]) * (c[j] - a[j]) - (b[j] - a[j]) * (c[i] - a[i])
            square += normals[n, axis] ** 2
        length = np.sqrt(square)
        area[n] = 0.5 * length
        for axis in range(3):
            normals[n, axis] /= max(length, 1e-300)


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
    place = np.ravel_multi_index(tuple(grid.index(patches.points_mm).T), grid.shape)
    facing = np.stack([np.bincount(place, patches.area_mm2 * part**2, minlength=grid.fraction.size)
                       for part in patches.normals.T])  # fmt: skip
    across = np.where(facing.any(axis=0), facing.argmax(axis=0), 2).reshape(grid.shape)
    fraction = grid.fraction.copy()
    for axis, roll, back in ((0, (1, 2, 0), (2, 0, 1)), (1, (2, 0, 1), (1, 2, 0))):
        turned = Mesh(mesh.vertices[:, roll], mesh.faces)
        shape = (grid.shape[roll[0]], grid.shape[roll[1]], grid.shape[roll[2]])
        other = rasterise(turned, grid.origin_mm[list(roll)], grid.spacing_mm, shape)[0].transpose(back)
        fraction[across == axis] = other[across == axis]
    return replace(grid, fraction=np.clip(fraction, 0.0, 1.0))


@njit(cache=True, nogil=True)
def _split(corners, longest, pieces):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Halve each triangle at its longest edge until that is short; store the pieces if there is room, count them."""
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

"""Where the parts of a tool lie among the voxels: lines, solids, and their copies around the axis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.errors import input_error
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import LEAK_REFUSE_SHARE, rasterise
from castq.thermal.die_growth import Sector
from castq.thermal.tool import Region

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
# Copies nearer to each other than this are one [mm].
_SAME_MM = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """Voxels of a box in space.

    Attributes
    ----------
    origin_mm : array (3,)
        Lower corner of the first voxel [mm].
    spacing_mm : float
        Edge of a voxel [mm].
    shape : tuple of int
        Voxels along x, y and z.
    """

    origin_mm: Array
    spacing_mm: float
    shape: tuple[int, int, int]

    @property
    def centres_mm(self) -> tuple[Array, Array, Array]:
        """Voxel centres along x, y and z, ready to be broadcast over the box [mm]."""
        x, y, z = (
            start + self.spacing_mm * (np.arange(count) + 0.5)
            for start, count in zip(self.origin_mm, self.shape, strict=True)
        )
        return x[:, None, None], y[:, None], z

    def cells(self, points_mm: Array) -> tuple[NDArray[np.int64], Mask]:
        """Return the flat places of points, and whether they lie in the box; those outside get its nearest voxel."""
        index = np.floor((points_mm - self.origin_mm) / self.spacing_mm).astype(np.int64)
        clipped = np.clip(index, 0, np.array(self.shape) - 1)
        return np.ravel_multi_index(tuple(clipped.T), self.shape), np.all(index == clipped, axis=1)

    def middles_mm(self, cells: NDArray[np.int64]) -> Array:
        """Return the centres of voxels given by their flat places, array (n, 3) [mm]."""
        return self.origin_mm + self.spacing_mm * (np.column_stack(np.unravel_index(cells, self.shape)) + 0.5)


def copies(points_mm: ArrayLike, repeats: Sector | None) -> list[Array]:
    """Return points and their distinct copies around the axis.

    Parameters
    ----------
    points_mm : array_like (n, 3)
        Positions that belong together [mm].
    repeats : Sector or None
        The part of the shape that stands for all of it; no copies when not given.

    Returns
    -------
    list of array (n, 3)
        The points in each place [mm].
    """
    points = np.asarray(points_mm, dtype=float).reshape(-1, 3)
    if repeats is None:
        return [points]
    found: list[Array] = []
    for turn, flip in repeats.places:
        angle = np.arctan2(points[:, 1], points[:, 0])
        angle = (2.0 * repeats.start_rad - angle if flip else angle) + turn
        radius = np.hypot(points[:, 0], points[:, 1])
        copy = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), points[:, 2]])
        if not any(_same(copy, other) for other in found):
            found.append(copy)
    return found


def _same(first: Array, second: Array) -> bool:
    """Return whether two copies of a few points take the same place; large ones are never looked at."""
    return len(first) <= 2 and any(np.abs(first - other).max() < _SAME_MM for other in (second, second[::-1]))


def share_of(sector: Sector | None) -> float:
    """Return the share of the whole that is solved [-]."""
    return 1.0 if sector is None else sector.span_rad / (2.0 * np.pi)


def filled(
    shape: Mesh | Region, frame: Frame, repeats: Sector | None, name: tuple[str, str] = ("region", "")
) -> NDArray[np.float32]:
    """Return the share of each voxel that a solid fills.

    Parameters
    ----------
    shape : Mesh or Region
        The solid; it may reach out of the box [mm].
    frame : Frame
        Voxels.
    repeats : Sector or None
        Symmetry by which it is repeated.
    name : tuple of str
        What it is and its name, for error messages.

    Returns
    -------
    float32 array (nx, ny, nz)
        Share [-]; of a region 0 or 1.

    Raises
    ------
    InputError
        If a mesh is not closed.
    """
    if isinstance(shape, Region):
        x, y, z = frame.centres_mm
        radius = np.hypot(x, y)
        (near, far), (low, high) = shape.radius_mm, shape.height_mm
        return ((radius >= near) & (radius <= far) & (z >= low) & (z <= high)).astype(np.float32)
    total = np.zeros(frame.shape, dtype=np.float32)
    for vertices in copies(shape.vertices, repeats):
        np.maximum(total, _cropped(Mesh(vertices, shape.faces), frame, name), out=total)
    return total


def _cropped(mesh: Mesh, frame: Frame, name: tuple[str, str]) -> NDArray[np.float32]:
    """Return the share of each voxel that a mesh fills, whatever of it lies outside the box."""
    low, high = ((corner - frame.origin_mm) / frame.spacing_mm for corner in mesh.bounds)
    shape = np.array(frame.shape)
    if np.any(high <= 0.0) or np.any(low >= shape):
        return np.zeros(frame.shape, dtype=np.float32)
    before = np.maximum(np.ceil(-low).astype(np.int64) + 1, 0)
    after = np.maximum(np.ceil(high - shape).astype(np.int64) + 1, 0)
    nx, ny, nz = (int(count) for count in before + shape + after)
    found, _, leak = rasterise(mesh, frame.origin_mm - frame.spacing_mm * before, frame.spacing_mm, (nx, ny, nz))
    if leak > LEAK_REFUSE_SHARE:
        raise input_error(
            *name, f"{100.0 * leak:.0f} % of the scan lines through its mesh do not close",
            "a closed surface with facets turned outwards", "close the holes and export it again",
        )  # fmt: skip
    here = tuple(slice(int(a), int(a + n)) for a, n in zip(before, shape, strict=True))
    return np.abs(found[here])


def distance_to_segment(points_mm: Array, start_mm: Array, end_mm: Array) -> Array:
    """Return the distance of points from a straight line between two points [mm].

    Parameters
    ----------
    points_mm : array (n, 3)
        Positions [mm].
    start_mm, end_mm : array (3,)
        Ends of the line [mm].

    Returns
    -------
    array (n,)
        Distance [mm].
    """
    along = end_mm - start_mm
    share = np.clip((points_mm - start_mm) @ along / max(float(along @ along), 1e-30), 0.0, 1.0)
    return np.asarray(np.linalg.norm(points_mm - start_mm - share[:, None] * along, axis=1))

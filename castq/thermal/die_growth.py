"""The die grown around a casting to a stated wall, in the whole or in a mirror sector of it."""

from __future__ import annotations

import os
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from castq.core.errors import input_error
from castq.geometry.axis import Axis
from castq.geometry.voxels import Grid

# Passive cells around the die.
FRAME = 2
# Working memory of the solver and its set-up, measured, for each voxel of the box.
BYTES_A_VOXEL = 400
_MEMORY_SHARE = 0.7

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Sector:
    """A part of the casting between two mirror planes through the z axis.

    Attributes
    ----------
    start_rad : float
        Angle of the first plane around z [rad].
    span_rad : float
        Angle between the planes; it divides half a turn [rad].
    """

    start_rad: float
    span_rad: float

    def holds(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> Mask:
        """Return whether points lie in the sector.

        Parameters
        ----------
        x, y : array
            Positions [mm].

        Returns
        -------
        bool array
            True inside.
        """
        return np.asarray((np.arctan2(y, x) - self.start_rad) % (2.0 * np.pi) < self.span_rad)

    def folded(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the like places of points inside the sector.

        Parameters
        ----------
        x, y : array
            Positions [mm].

        Returns
        -------
        tuple of array
            x and y in the sector [mm].
        """
        angle = (np.arctan2(y, x) - self.start_rad) % (2.0 * self.span_rad)
        angle = np.where(angle > self.span_rad, 2.0 * self.span_rad - angle, angle) + self.start_rad
        radius = np.hypot(x, y)
        return radius * np.cos(angle), radius * np.sin(angle)


def sector_of(axis: Axis) -> Sector | None:
    """Return the smallest sector that stands for the whole shape; none when no plane mirrors it.

    Parameters
    ----------
    axis : Axis
        Measured symmetry.

    Returns
    -------
    Sector or None
        Half a repeat between two mirror planes.
    """
    return Sector(axis.mirror_rad, np.pi / axis.order) if axis.mirror else None


@dataclass(frozen=True, slots=True, eq=False)
class Box:
    """The box that is solved: casting, die around it, and what is left out.

    Attributes
    ----------
    first : int array (3,)
        Voxel of the casting's grid at the box's lower corner; negative where the die reaches beyond the grid.
    fraction : float32 array (nx, ny, nz)
        Share of each voxel that is metal of the casting [-].
    die : bool array (nx, ny, nz)
        Voxels that the die reaches, in the sector.
    inside : bool array (nx, ny, nz)
        Voxels that are solved.
    depth : float32 array (nx, ny, nz)
        Distance from the casting, in voxels.
    nearest : int32 array (3, nx, ny, nz)
        Voxel of the casting nearest to each voxel.
    """

    first: NDArray[np.int64]
    fraction: NDArray[np.float32]
    die: Mask
    inside: Mask
    depth: NDArray[np.float32]
    nearest: NDArray[np.int32]


def grow_die(grid: Grid, die_wall_mm: float, sector: Sector | None = None, memory_bytes: float | None = None) -> Box:
    """Return the casting with a die of one wall around it.

    Parameters
    ----------
    grid : Grid
        The casting; for a sector, its axis along z through x = y = 0 [mm].
    die_wall_mm : float
        Thickness of the die behind each place of the casting [mm].
    sector : Sector, optional
        Part that is solved; all of it when not given.
    memory_bytes : float, optional
        Memory that may be used; most of the machine's when not given [bytes].

    Returns
    -------
    Box
        The box.

    Raises
    ------
    InputError
        If no voxel is half filled, or the box needs more memory than there is.
    """
    solid = grid.solid
    if sector is not None:
        x, y, _ = grid.centres_mm
        solid = solid & sector.holds(x[:, None], y[None, :])[:, :, None]
    if not solid.any():
        raise input_error(
            "grid", "", "no voxel is half filled with metal", "several voxels across the thinnest wall",
            "take smaller voxels",
        )  # fmt: skip
    extents = [np.flatnonzero(solid.any(axis=axes)) for axes in ((1, 2), (0, 2), (0, 1))]
    reach = int(np.ceil(die_wall_mm / grid.spacing_mm)) + 1 + FRAME
    first = np.array([places[0] - reach for places in extents])
    shape = np.array([places[-1] + reach + 1 for places in extents]) - first
    _check_memory(shape, grid.spacing_mm, memory_bytes)
    fraction = np.zeros(shape, dtype=np.float32)
    low, high = np.maximum(first, 0), np.minimum(first + shape, grid.shape)
    here = tuple(slice(a - f, b - f) for a, b, f in zip(low, high, first, strict=True))
    fraction[here] = grid.fraction[tuple(slice(a, b) for a, b in zip(low, high, strict=True))]
    depth, nearest = distance_transform_edt(fraction < 0.5, return_indices=True)
    inside = np.zeros(shape, dtype=bool)
    inside[FRAME:-FRAME, FRAME:-FRAME, FRAME:-FRAME] = True
    if sector is not None:
        x, y = (
            grid.origin_mm[axis] + grid.spacing_mm * (np.arange(shape[axis]) + first[axis] + 0.5) for axis in (0, 1)
        )
        inside &= sector.holds(x[:, None], y[None, :])[:, :, None]
    die = inside & (depth > 0.0) & (depth <= die_wall_mm / grid.spacing_mm)
    return Box(first, fraction, die, inside, depth.astype(np.float32), nearest)


def outer_faces(box: Box) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the die cells with an outer face, and the true area of it.

    Parameters
    ----------
    box : Box
        Casting and die.

    Returns
    -------
    tuple of int array, array
        Flat places of the cells; area, in voxel faces.
    """
    area = np.zeros(box.die.shape)
    for axis in range(3):
        for side in (1, -1):
            beyond = np.roll(box.depth, -side, axis) - box.depth
            open_face = box.die & ~np.roll(box.die, -side, axis) & np.roll(box.inside, -side, axis)
            # The distance grows across a face by the share of the surface that looks that way.
            area += np.where(open_face, np.clip(beyond, 0.0, 1.0), 0.0)
    place = np.flatnonzero(area)
    return place, area.reshape(-1)[place]


def _check_memory(shape: NDArray[np.int64], spacing_mm: float, memory_bytes: float | None) -> None:
    """Refuse a box that the machine cannot hold, and say which voxel would fit."""
    limit = memory_bytes or _MEMORY_SHARE * os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    needed = BYTES_A_VOXEL * float(np.prod(shape.astype(float)))
    if needed > limit:
        fits = 0.1 * np.ceil(10.0 * spacing_mm * 1.02 * np.cbrt(needed / limit))
        raise input_error(
            "voxel size", "", f"casting and die in voxels of {spacing_mm:g} mm need {needed / 1e9:.1f} GB",
            f"at most {limit / 1e9:.1f} GB on this machine", f"use voxels of {fits:.1f} mm or larger, or a sector",
        )  # fmt: skip

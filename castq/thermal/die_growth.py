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
from castq.thermal import solid_cuts as cuts

# Passive cells around the die.
FRAME = 2
# Working memory of the solver and its set-up, measured, for each voxel of the box.
BYTES_A_VOXEL = 180
_MEMORY_SHARE = 0.7

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Sector:
    """A part of the casting between two planes through the z axis: mirrors, or one turned onto the other.

    Attributes
    ----------
    start_rad : float
        Angle of the first plane around z [rad].
    span_rad : float
        Angle between the planes; it divides half a turn between mirrors, else a whole one [rad].
    turning : bool
        Whether the shape repeats by turning, without a mirror.
    """

    start_rad: float
    span_rad: float
    turning: bool = False

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
        angle = np.arctan2(y, x) - self.start_rad
        if self.turning:
            angle = angle % self.span_rad
        else:
            angle = angle % (2.0 * self.span_rad)
            angle = np.where(angle > self.span_rad, 2.0 * self.span_rad - angle, angle)
        radius, angle = np.hypot(x, y), angle + self.start_rad
        return radius * np.cos(angle), radius * np.sin(angle)

    @property
    def places(self) -> list[tuple[float, bool]]:
        """Turn of each copy of the sector [rad], and whether it is first mirrored at the first plane."""
        step = self.span_rad if self.turning else 2.0 * self.span_rad
        turns = step * np.arange(round(2.0 * np.pi / step))
        return [(float(turn), flip) for turn in turns for flip in ((False,) if self.turning else (False, True))]

    def beyond_mm(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return how far points lie outside the sector.

        Parameters
        ----------
        x, y : array
            Positions [mm].

        Returns
        -------
        array
            Distance to the nearer plane [mm]; 0 inside.
        """
        off = np.arctan2(y, x) - self.start_rad - 0.5 * self.span_rad
        past = np.maximum(np.abs((off + np.pi) % (2.0 * np.pi) - np.pi) - 0.5 * self.span_rad, 0.0)
        return np.asarray(np.hypot(x, y) * np.sin(np.minimum(past, 0.5 * np.pi)))


def sector_of(axis: Axis) -> Sector | None:
    """Return the smallest sector that stands for the whole shape; none when it neither mirrors nor repeats.

    Parameters
    ----------
    axis : Axis
        Measured symmetry.

    Returns
    -------
    Sector or None
        Half a repeat between two mirror planes, or a whole one where there is no mirror.
    """
    if axis.mirror:
        return Sector(axis.mirror_rad, np.pi / axis.order)
    if axis.order == 1:
        return None
    # Planes between the spokes cut the least metal.
    return Sector(axis.phase_rad + np.pi / axis.spoke_order, 2.0 * np.pi / axis.order, turning=True)


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

    @property
    def shape(self) -> tuple[int, int, int]:
        """Voxels of the box along x, y and z."""
        nx, ny, nz = self.fraction.shape
        return nx, ny, nz


def grow_die(
    grid: Grid,
    die_wall_mm: float,
    sector: Sector | None = None,
    memory_bytes: float | None = None,
    room_mm: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None,
) -> Box:
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
    room_mm : tuple of array (3,), optional
        Lowest and highest corner that the box has to hold besides [mm].

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
    if sector is not None and sector.turning:
        # The die in one repeat may belong to metal in the next: room for it as far out as the metal reaches.
        radius = np.hypot(x[:, None], y[None, :])
        swept = sector.holds(x[:, None], y[None, :]) & (radius <= radius[solid.any(axis=2)].max())
        solid = swept[:, :, None] & solid.any(axis=(0, 1))
    extents = [np.flatnonzero(solid.any(axis=axes)) for axes in ((1, 2), (0, 2), (0, 1))]
    reach = int(np.ceil(die_wall_mm / grid.spacing_mm)) + 1 + FRAME
    first = np.array([places[0] - reach for places in extents])
    end = np.array([places[-1] + reach + 1 for places in extents])
    if room_mm is not None:
        least, most = ((corner - grid.origin_mm) / grid.spacing_mm for corner in _within(*room_mm, sector))
        first = np.minimum(first, np.floor(least).astype(np.int64) - FRAME - 1)
        end = np.maximum(end, np.ceil(most).astype(np.int64) + FRAME + 1)
    shape = end - first
    _check_memory(shape, grid.spacing_mm, memory_bytes)
    fraction = np.zeros(shape, dtype=np.float32)
    low, high = np.maximum(first, 0), np.minimum(first + shape, grid.shape)
    here = tuple(slice(a - f, b - f) for a, b, f in zip(low, high, first, strict=True))
    fraction[here] = grid.fraction[tuple(slice(a, b) for a, b in zip(low, high, strict=True))]
    nearest = distance_transform_edt(fraction < 0.5, return_distances=False, return_indices=True)
    depth = np.empty(fraction.shape, dtype=np.float32)
    cuts.find_depths(nearest, depth)
    inside = np.zeros(shape, dtype=bool)
    inside[FRAME:-FRAME, FRAME:-FRAME, FRAME:-FRAME] = True
    if sector is not None:
        x, y = (
            grid.origin_mm[axis] + grid.spacing_mm * (np.arange(shape[axis]) + first[axis] + 0.5) for axis in (0, 1)
        )
        inside &= sector.holds(x[:, None], y[None, :])[:, :, None]
    die = inside & (depth > 0.0) & (depth <= die_wall_mm / grid.spacing_mm)
    return Box(first, fraction, die, inside, depth, nearest)


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
    area = np.zeros(box.die.size, dtype=np.float32)
    cuts.find_outer(np.flatnonzero(box.die), box.die.shape, box.die.reshape(-1), box.inside.reshape(-1),
                    box.depth.reshape(-1), area)  # fmt: skip
    place = np.flatnonzero(area)
    return place, area[place].astype(float)


def _within(
    low_mm: NDArray[np.float64], high_mm: NDArray[np.float64], sector: Sector | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the lowest and highest corner [mm] of what a sector holds of a span around the axis."""
    if sector is None:
        return low_mm, high_mm
    radius = float(np.linalg.norm(np.maximum(np.abs(low_mm), np.abs(high_mm))[:2]))
    angle = np.linspace(sector.start_rad, sector.start_rad + sector.span_rad, 65)
    arc = radius * np.column_stack([np.cos(angle), np.sin(angle)])
    wedge = np.vstack([arc, [[0.0, 0.0]]])
    return np.append(wedge.min(axis=0), low_mm[2]), np.append(wedge.max(axis=0), high_mm[2])


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

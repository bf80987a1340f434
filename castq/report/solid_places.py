"""Zones of risk on the grid and in groups: like places once, and the metal and the way that belong to a row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from castq.feeding.paths import Way, way_from
from castq.report.fields import describe
from castq.screening.fields import WheelFields
from castq.screening.solid_records import IslandRow, RegionRow

if TYPE_CHECKING:
    from castq.screening.solid import SolidDepth

# Copies of one place around the wheel lie this near in radius and height, and differ by no more in volume.
SAME_CELLS, SAME_VOLUME = 2.5, 0.15
Array = NDArray[np.float64]
Row = TypeVar("Row", IslandRow, RegionRow)


@dataclass(frozen=True, slots=True)
class Group(Generic[Row]):
    """A row, and the angles at which the wheel holds a copy of it, its own first [deg]."""

    row: Row
    angles_deg: tuple[float, ...]


def grouped(rows: Sequence[Row], voxel_mm: float) -> list[Group[Row]]:
    """Return rows in their order, copies around the wheel counted with the first of them.

    Parameters
    ----------
    rows : sequence of IslandRow or RegionRow
        In the order of their weight.
    voxel_mm : float
        Voxel size [mm].

    Returns
    -------
    list of Group
        One for each place that differs.
    """
    groups: list[tuple[Row, list[float]]] = []
    for row in rows:
        for first, angles in groups:
            if _alike(first, row, SAME_CELLS * voxel_mm):
                angles.append(row.angle_deg)
                break
        else:
            groups.append((row, [row.angle_deg]))
    return [Group(row, tuple(angles)) for row, angles in groups]


def _alike(a: IslandRow | RegionRow, b: IslandRow | RegionRow, near_mm: float) -> bool:
    return (
        abs(a.radius_mm - b.radius_mm) <= near_mm
        and abs(a.height_mm - b.height_mm) <= near_mm
        and abs(a.volume_cm3 - b.volume_cm3) <= SAME_VOLUME * max(a.volume_cm3, b.volume_cm3)
    )


def metal_of(wheel: WheelFields, row: RegionRow) -> NDArray[np.bool_]:
    """Return the cells of a zone of risk: the connected metal beyond its limit whose middle is the row's.

    Parameters
    ----------
    wheel : WheelFields
        The wheel with the field of the row's quantity.
    row : RegionRow
        The zone of risk.

    Returns
    -------
    bool array (nx, ny, nz)
        True in its cells; all False where nothing is beyond the limit.
    """
    from scipy.ndimage import label

    values = wheel.fields[row.quantity]
    worse_below = describe(row.quantity)[2] == "higher"
    with np.errstate(invalid="ignore"):
        beyond = (values < row.limit) if worse_below else (values > row.limit)
    numbers, count = label(beyond & (wheel.grid.fraction > 0.0))
    if count == 0:
        return np.zeros(values.shape, dtype=bool)
    cells = np.nonzero(numbers)
    which = numbers[cells]
    weight = wheel.grid.fraction[cells].astype(float)
    mass = np.bincount(which, weights=weight)[1:]
    middle = [np.bincount(which, weights=weight * place)[1:] / mass for place in cells]
    spots = wheel.grid.origin_mm + wheel.grid.spacing_mm * (np.column_stack(middle) + 0.5)
    found: NDArray[np.bool_] = numbers == 1 + int(np.argmin(np.linalg.norm(spots - row.centre_mm, axis=1)))
    return found


def last_place(wheel: WheelFields, metal: NDArray[np.bool_]) -> tuple[int, int, int]:
    """Return the cell that closes last among some, along x, y and z [-]."""
    cutoff = wheel.fields["cutoff_time_s"]
    times = np.where(metal & np.isfinite(cutoff), cutoff, -np.inf)
    i, j, k = (int(v) for v in np.unravel_index(int(np.argmax(times)), times.shape))
    return i, j, k


@dataclass(frozen=True, slots=True, eq=False)
class DrawnWay:
    """A way to the feeder by height and radius, array (n, 2) of (z, r) [mm], and where it is choked.

    Attributes
    ----------
    line_mm : array (n, 2)
        Its points, the feeder last [mm].
    choke_mm : array (2,)
        The place that closes first [mm].
    choke_aside_mm : float
        How far that place lies beside the plane [mm].
    choke_s, last_s : float
        When that place and the first one close [s].
    aside_mm : array (n,)
        How far each point lies beside the plane [mm].
    """

    line_mm: Array
    choke_mm: Array
    choke_aside_mm: float
    choke_s: float
    last_s: float
    aside_mm: Array


def drawn_way(wheel: WheelFields, solid: SolidDepth, place: tuple[int, int, int], angle_rad: float) -> DrawnWay:
    """Return the way from a cell to the feeder as a half section at an angle shows it.

    Parameters
    ----------
    wheel : WheelFields
        The wheel.
    solid : SolidDepth
        Its feeding paths.
    place : tuple of int
        Cell along x, y and z [-].
    angle_rad : float
        Angle of the half plane [rad].

    Returns
    -------
    DrawnWay
        The way.
    """
    way: Way = way_from(solid.paths, place)
    spots = wheel.grid.origin_mm + wheel.grid.spacing_mm * (np.asarray(way.line, dtype=float) + 0.5)
    radius = np.hypot(spots[:, 0], spots[:, 1])
    aside = np.abs(spots[:, 1] * np.cos(angle_rad) - spots[:, 0] * np.sin(angle_rad))
    line = np.column_stack([spots[:, 2], radius])
    choke_s, last_s = float(way.cutoff_s[way.choke]), float(way.cutoff_s[0])
    return DrawnWay(line, line[way.choke], float(aside[way.choke]), choke_s, last_s, aside)

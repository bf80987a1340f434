"""Grid study: the same casting on a coarser grid, and what the difference says about the error of the fine one."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from castq.geometry.roles import CODE
from castq.geometry.voxels import Grid, voxelise
from castq.physics.grid_error import TWO_GRIDS, grid_convergence_index
from castq.screening.shape import WheelShape
from castq.screening.solid_records import GridStudy, GridZone
from castq.screening.solid_solve import freeze_shape
from castq.screening.solid_zones import quantile
from castq.screening.types import Case
from castq.thermal.die_growth import Sector
from castq.thermal.solid import SolidTimes
from castq.thermal.solid_problem import Pace

Array = NDArray[np.float64]

RATIO = 1.5
# Two grids cannot show an order: that of a moving front on cut cells is taken.
ORDER = 1.0
SPREAD = 0.95


@dataclass(frozen=True, slots=True, eq=False)
class Coarse:
    """The casting solved on a coarser grid."""

    grid: Grid
    times: SolidTimes


def solve_coarse(case: Case, shape: WheelShape, sector: Sector | None, pace: Pace | None) -> Coarse:
    """Solve the casting again on voxels half as large again.

    Parameters
    ----------
    case : Case
        The design.
    shape : WheelShape
        Its measured shape.
    sector : Sector or None
        Part that stands for all of it.
    pace : Pace or None
        Lengths of the time steps.

    Returns
    -------
    Coarse
        Its grid and times.

    Raises
    ------
    InputError
        If the coarser voxels do not hold the casting.
    """
    coarse = voxelise(shape.mesh, RATIO * shape.grid.spacing_mm)
    codes = codes_on(coarse, shape.grid, shape.zones.codes)
    return Coarse(coarse, freeze_shape(case, shape, coarse, codes, sector, pace)[0])


def grid_study(case: Case, shape: WheelShape, times: SolidTimes, other: Coarse) -> GridStudy:
    """Compare a casting solved on two grids.

    Parameters
    ----------
    case : Case
        The design.
    shape : WheelShape
        Its measured shape.
    times : SolidTimes
        The field on the shape's own grid [s].
    other : Coarse
        The field on the coarser one.

    Returns
    -------
    GridStudy
        Differences of local solidification time, and the grid index of each zone.
    """
    fine, coarse = shape.grid, other.grid
    metal = np.argwhere(shape.zones.codes > 0)
    there = coarse.index(fine.origin_mm + fine.spacing_mm * (metal + 0.5))
    here = tuple(metal.T)
    fine_s = times.local_solidification_s[here].astype(float)
    coarse_s = other.times.local_solidification_s[tuple(there.T)].astype(float)
    both = np.isfinite(coarse_s)
    weight, zone = fine.fraction[here].astype(float)[both], shape.zones.codes[here][both]
    fine_s, coarse_s = fine_s[both], coarse_s[both]
    zones = tuple(
        _zone(section.zone, fine_s[at], coarse_s[at], weight[at])
        for section in case.sections
        if (at := zone == CODE[section.role]).any()
    )
    change = coarse_s / fine_s - 1.0
    return _in_words(GridStudy(
        fine.spacing_mm, coarse.spacing_mm, float(np.average(np.abs(change), weights=weight)),
        quantile(np.abs(change), weight, SPREAD), float(np.average(change, weights=weight)), ORDER, TWO_GRIDS, zones,
        "",
    ))  # fmt: skip


def _zone(name: str, fine_s: Array, coarse_s: Array, weight: Array) -> GridZone:
    """Return what both grids say about one zone."""
    fine, coarse = (float(np.average(times, weights=weight)) for times in (fine_s, coarse_s))
    return GridZone(name, fine, coarse, float(grid_convergence_index(fine, coarse, RATIO, ORDER)))


def _in_words(study: GridStudy) -> GridStudy:
    """Return the study with what it says in words."""
    worst = max(study.zones, key=lambda zone: zone.index)
    words = (
        f"Over all they are {abs(100 * study.bias):.1f} % {'longer' if study.bias >= 0.0 else 'shorter'} on the coarse "
        f"grid; the mean of a zone on the fine one is then within {100 * worst.index:.1f} % ({worst.zone}, the worst) "
        "of that on an endlessly fine grid. This is the error of the grid alone, not of the model."
    )
    return replace(study, words=words)


def codes_on(coarse: Grid, fine: Grid, codes: NDArray[np.int8]) -> NDArray[np.int8]:
    """Return zone codes on another grid of the same casting.

    Parameters
    ----------
    coarse, fine : Grid
        The other grid, and the one with codes.
    codes : int8 array (nx, ny, nz)
        Zone of each cell of the fine grid, 0 in the void [-].

    Returns
    -------
    int8 array
        Zone of each cell of the other grid that holds metal, 0 in the void [-].
    """
    axes = [
        np.clip(np.floor((centres - origin) / fine.spacing_mm).astype(np.int64), 0, count - 1)
        for centres, origin, count in zip(coarse.centres_mm, fine.origin_mm, fine.shape, strict=True)
    ]
    found = codes[np.ix_(*axes)]
    nearest = distance_transform_edt(found == 0, return_distances=False, return_indices=True)
    return np.where(coarse.fraction > 0.0, found[tuple(nearest)], np.int8(0))

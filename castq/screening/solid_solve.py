"""The real shape in its die, solved: what each place of the die is told by the zone it lies next to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import input_error
from castq.geometry.roles import ROLES
from castq.geometry.voxels import Grid
from castq.screening.shape import WheelShape
from castq.screening.solid_feed import cells_across
from castq.screening.solid_records import CycleRow
from castq.screening.types import Case
from castq.thermal.cycle import CycleResult, steady_cycle
from castq.thermal.die_growth import Sector
from castq.thermal.solid import SolidTimes, freeze_solid, solve, spread
from castq.thermal.solid_problem import Pace

# Cells that the thinnest wall must hold. Common practice, no source.
LEAST_CELLS = 2.0


def check_cells(case: Case, shape: WheelShape) -> None:
    """Refuse voxels that are too coarse for the thinnest wall.

    Parameters
    ----------
    case : Case
        The design.
    shape : WheelShape
        Its measured shape.

    Raises
    ------
    InputError
        If fewer than two cells lie across the thinnest wall.
    """
    across, thinnest = cells_across(shape), shape.section.thinnest_mm
    if across < LEAST_CELLS:
        fits = np.floor(10.0 * thinnest / LEAST_CELLS) / 10.0
        raise input_error(
            case.name, "voxel size", f"voxels of {shape.grid.spacing_mm:g} mm put {across:.1f} cells across the "
            f"thinnest wall of {thinnest:.1f} mm", f"at least {LEAST_CELLS:g} cells for solid depth",
            f'use --voxel "{fits:g} mm" or finer, or --depth section',
        )  # fmt: skip


def freeze_shape(
    case: Case, shape: WheelShape, grid: Grid, codes: NDArray[np.int8], sector: Sector | None, pace: Pace | None
) -> tuple[SolidTimes, CycleResult | None]:
    """Return when each place of a shape freezes with a case's metal, die and process.

    Parameters
    ----------
    case : Case
        The design.
    shape : WheelShape
        Its measured shape.
    grid : Grid
        Its voxels, of any size.
    codes : int8 array (nx, ny, nz)
        Zone of each cell with metal [-].
    sector : Sector or None
        Part that stands for all of it.
    pace : Pace or None
        Lengths of the time steps.

    Returns
    -------
    SolidTimes, CycleResult or None
        Times of each voxel with metal [s]; the die's steady cycle, when the case gives one.
    """
    tool, film = case.tool, case.calibration.interface_factor
    given: dict[str, Any] = {
        "surface": shape.mesh, "alloy": case.alloy, "die": tool.die, "melt_temp_c": case.melt.melt_temp_c,
        "die_temp_c": by_zone(tool.die_temp_c, codes), "contact_w_m2k": film * by_zone(tool.contact_w_m2k, codes),
        "gap_w_m2k": film * by_zone(tool.gap_w_m2k, codes), "die_wall_mm": tool.die_wall_mm, "sector": sector,
        "parts": case.parts, "face_side": shape.zones.outboard,
    }  # fmt: skip
    if case.parts.cycle is None:
        return freeze_solid(grid, pace=pace, **given), None
    steady = steady_cycle(grid, **given)
    return spread(steady.built, solve(steady.built, steady.die_c, pace)), steady


def cycle_row(steady: CycleResult) -> CycleRow:
    """Return what a report prints about the production cycle.

    Parameters
    ----------
    steady : CycleResult
        The die in its cyclic steady state.

    Returns
    -------
    CycleRow
        Shots, shots saved, and the die's face as a shot begins.
    """
    low, high = float(np.nanmin(steady.surface_c)), float(np.nanmax(steady.surface_c))
    saved = max(steady.natural_cycles - steady.cycles, 0)
    reached = "repeats itself" if steady.converged else "does not repeat itself yet"
    words = (
        f"Production cycle of {steady.length_s:.0f} s: after {steady.cycles} solved shots ({saved} fewer than the "
        f"die needs by itself) the die {reached}, to {steady.residual_k:.1f} K; its face is at {low:.0f} to {high:.0f} "
        "degC as a shot begins."
    )
    return CycleRow(steady.length_s, steady.cycles, saved, steady.residual_k, low, high, words)


def by_zone(values: Mapping[str, float], codes: NDArray[np.int8]) -> NDArray[np.float32]:
    """Return the value of each cell's zone as a field.

    Parameters
    ----------
    values : mapping of role to float
        One value a zone, any unit.
    codes : int8 array (nx, ny, nz)
        Zone of each cell [-].

    Returns
    -------
    float32 array (nx, ny, nz)
        In the same unit; NaN outside the metal.
    """
    return np.array([np.nan, *(values[role] for role in ROLES)], dtype=np.float32)[codes]

"""Freezing of a real shape in a die grown around it: transient heat flow in three dimensions on cut voxels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from castq.core.errors import input_error
from castq.geometry.voxels import Grid
from castq.materials.types import Alloy
from castq.thermal.die_growth import Box, Sector
from castq.thermal.solid_build import Built, build
from castq.thermal.solid_grid import Cells
from castq.thermal.solid_kernel import CUTOFF
from castq.thermal.solid_march import march
from castq.thermal.solid_problem import March, Pace
from castq.thermal.tool_shapes import share_of

Field = NDArray[np.float32]

MOST_STEPS = 50_000


@dataclass(frozen=True, slots=True, eq=False)
class SolidTimes:
    """When each place freezes: float32 arrays of the shape of the casting's grid, NaN where there is no metal.

    Attributes
    ----------
    liquidus_s, coherency_s, cutoff_s, solid_s : array
        Time from pouring to liquidus, coherency, feeding cut-off and end of freezing [s].
    gradient_k_mm, cooling_rate_k_s : array
        Temperature gradient [K/mm] and cooling rate [K/s] at the fraction solid asked for.
    die_peak_c, die_last_c : array
        Highest and last temperature of the die's surface where the casting touches it, else NaN [degC].
    heat_residual : float
        Heat taken up by die and surroundings less heat given by the casting, over the latter [-].
    reheat_k : float
        By how much any place of the casting was, after a step, warmer than anything around it had been [K].
    cells : dict of str to float
        Cells of casting and die; share of the casting's volume and of its surface that they hold [-].
    steps, updates : int
        Long steps in time, and cell updates.
    baths : mapping of str to float
        Heat taken by each circuit, the air around the die and that on bare metal, on the whole casting [kJ].
    gate : bool array or None
        Voxels that stand on the gate or carry a feeder head; none when there is neither.
    heads : mapping of str to float
        Time from pouring to the last feeding cut-off within each feeder head [s].
    notes : tuple of str
        What deserves a look, in words.
    """

    liquidus_s: Field
    coherency_s: Field
    cutoff_s: Field
    solid_s: Field
    gradient_k_mm: Field
    cooling_rate_k_s: Field
    die_peak_c: Field
    die_last_c: Field
    heat_residual: float
    reheat_k: float
    cells: dict[str, float]
    steps: int
    updates: int
    baths: Mapping[str, float] = field(default_factory=dict)
    gate: NDArray[np.bool_] | None = None
    heads: Mapping[str, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def local_solidification_s(self) -> Field:
        """Time from liquidus to end of freezing [s]."""
        return self.solid_s - self.liquidus_s


def freeze_solid(grid: Grid, *, pace: Pace | None = None, **given: Any) -> SolidTimes:
    """Freeze a casting in its die: `build`, `solve` and `spread` in one.

    Parameters
    ----------
    grid : Grid
        The casting; for a sector, its axis along z through x = y = 0 [mm].
    pace : Pace, optional
        Lengths of the time steps.
    **given
        The other arguments of `build`.

    Returns
    -------
    SolidTimes
        Times of each voxel with metal; with a sector, all its copies included.

    Raises
    ------
    InputError
        If a value is impossible, the casting cannot freeze, the voxels are too coarse, or memory is short.
    """
    built = build(grid, **given)
    return spread(built, solve(built, pace=pace))


def solve(
    built: Built,
    die_temp_c: NDArray[np.floating] | None = None,
    pace: Pace | None = None,
    *,
    until_s: float = np.inf,
) -> March:
    """Cool a casting until all of it is solid, or up to a time.

    Parameters
    ----------
    built : Built
        Casting and tool.
    die_temp_c : array (die cells,), optional
        Die at the start, in the order of `built.problem.die.active`, as `March.die_c` has it; as built when not given
        [degC].
    pace : Pace, optional
        Lengths of the time steps.
    until_s : float
        Time at which to stop, solid or not [s].

    Returns
    -------
    March
        Times, gradients, die and heat balance.

    Raises
    ------
    InputError
        If a part of the casting has not frozen and no time to stop was given.
    """
    problem = built.problem
    if die_temp_c is not None:
        start = problem.die_temp_c.copy()
        start[problem.die.active] = die_temp_c
        problem = replace(problem, die_temp_c=start)
    result = march(problem, pace, until_s=until_s, most_steps=MOST_STEPS)
    if np.isinf(until_s):
        _check_solid(result, built.alloy)
    return result


def _check_solid(result: March, alloy: Alloy) -> None:
    """Raise `InputError` if a part of the casting has not frozen."""
    left = np.isnan(result.times_s[-1])
    if left.any():
        raise input_error(
            "solid", "", f"{np.count_nonzero(left)} cells of {alloy.id} not yet solid after {result.seconds_s:.0f} s",
            "a casting that freezes", "lower the die temperature or raise the interface coefficient",
        )  # fmt: skip


def spread(built: Built, result: March) -> SolidTimes:
    """Return the result on the casting's grid.

    Parameters
    ----------
    built : Built
        Casting and tool.
    result : March
        What the march left behind.

    Returns
    -------
    SolidTimes
        Times of each voxel with metal; with a sector, all its copies included.
    """
    grid, cells = built.grid, built.cells
    metal = np.argwhere(grid.fraction > 0.0)
    cell = _cell_of(grid, built.box, cells, built.sector, metal)
    slot = np.full(cells.casting.volume.size, -1)
    slot[cells.casting.active] = np.arange(cells.casting.active.size)
    place, rows = tuple(metal.T), slot[cell]
    flat = np.ravel_multi_index(place, grid.shape)

    def on_grid(values: NDArray[np.floating]) -> Field:
        """Return values of the casting's cells on the grid."""
        spread_out = np.full(grid.shape, np.nan, dtype=np.float32)
        spread_out.reshape(-1)[flat] = values[rows]
        return spread_out

    surface = np.full((cells.casting.active.size, 2), -np.inf)
    np.maximum.at(surface, slot[cells.links.casting], result.link_c)
    surface[np.isinf(surface)] = np.nan
    liquidus, coherency, cutoff, _, solid = (on_grid(times) for times in result.times_s)
    whole = 1e-3 / share_of(built.sector)
    heads, closing = _heads(built, slot, result.times_s[CUTOFF])
    return SolidTimes(
        liquidus, coherency, cutoff, solid, on_grid(result.gradient_k / grid.spacing_mm), on_grid(result.rate_k_s),
        on_grid(surface[:, 0]), on_grid(surface[:, 1]), result.residual, result.reheat_k, built.shares, result.steps,
        result.updates, {name: whole * heat for name, heat in result.baths_j.items()}, _fed(built, place, cell), heads,
        (*built.notes, *_gate_note(built, whole), *closing),
    )  # fmt: skip


def _fed(built: Built, place: tuple[NDArray[np.int64], ...], cell: NDArray[np.int64]) -> NDArray[np.bool_] | None:
    """Return the voxels that stand on the gate or carry a feeder head."""
    cells = np.concatenate([built.gate.cells, *(feeding.foot for feeding in built.feeding)])
    if cells.size == 0:
        return None
    found = np.zeros(built.grid.shape, dtype=bool)
    found[place] = np.isin(cell, cells)
    return found


def _gate_note(built: Built, whole: float) -> tuple[str, ...]:
    """Return what the gate takes from the die, in words."""
    area_cm2 = 10.0 * whole * built.gate.area_mm2
    return (f"gate: {area_cm2:.1f} cm2 of the casting give no heat to the die",) if built.gate.cells.size else ()


def _heads(built: Built, slot: NDArray[np.int64], cutoff_s: Field) -> tuple[dict[str, float], tuple[str, ...]]:
    """Return when each feeder head closes, and a note on each that closes before what it feeds."""
    heads, notes = {}, []
    for feeding in built.feeding:
        heads[feeding.name] = float(cutoff_s[slot[feeding.cells]].max(initial=0.0))
        last = float(cutoff_s[slot[feeding.fed]].max(initial=0.0))
        if heads[feeding.name] < last:
            notes.append(
                f"feeder head {feeding.name} closes at {heads[feeding.name]:.0f} s, before the casting it feeds, "
                f"which passes metal until {last:.0f} s"
            )
    return heads, tuple(notes)


def _cell_of(grid: Grid, box: Box, cells: Cells, sector: Sector | None, metal: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the flat place in the box of the casting cell that stands for each voxel with metal."""
    shape = box.fraction.shape
    held = cells.casting.volume.reshape(shape) > 0.0
    owner = cells.casting_owner
    if sector is not None:
        owner = np.where(held.reshape(-1), owner, -1)
        x, y, z = (axis[metal[:, place]] for place, axis in enumerate(grid.centres_mm))
        points = np.column_stack([*sector.folded(x, y), z])
        metal = np.floor((points - grid.origin_mm) / grid.spacing_mm).astype(np.int64)
    places = np.clip(metal - box.first, 0, np.array(shape) - 1)
    found = owner[np.ravel_multi_index(tuple(places.T), shape)]
    lost = found < 0
    if lost.any():
        home = np.argwhere(held)
        nearest = home[cKDTree(home).query(places[lost])[1]]
        found[lost] = np.ravel_multi_index(tuple(nearest.T), shape)
    return np.asarray(found)

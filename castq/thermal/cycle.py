"""The production cycle of a die, up to the state in which each shot leaves it as it found it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, map_coordinates

from castq.core.errors import InputError, input_error
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import Grid, voxelise
from castq.thermal.fixed_point import FixedPoint, fixed_point
from castq.thermal.shots import Shots, started, warm_up
from castq.thermal.solid import Field, spread
from castq.thermal.solid_build import Built, build
from castq.thermal.solid_march import march
from castq.thermal.solid_problem import March, Pace
from castq.thermal.tool import Cycle, ToolParts

Array = NDArray[np.float64]
Steps = tuple[tuple[Array, Array], ...]

# Steps of a cycle; the die asks for less than the times of freezing do.
PACE = Pace(longest_s=2.0, shortest_s=0.05, growth=0.05)
# Voxels of the spin-up over those of the grid, and its tolerance over that asked for.
COARSER, FINER_TOLERANCE = 2.0, 0.2
MOST_CYCLES, MOST_WARM_UP = 40, 100
# Share of the heat of the metal that a steady die may keep or lose over a cycle.
BALANCED = 0.003
# How long a casting that is not solid when the die opens is followed, in times it was in the die.
_FOLLOWED = 5.0
# Ranges of what a cycle may state: time [s], coefficient [W/m2K], temperature [degC].
_RANGES = {"_s": (0.0, 36000.0), "_w_m2k": (0.1, 1e6), "_temp_c": (-100.0, 600.0)}
_LEAST_CLOSED_S = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class CycleResult:
    """A die in its cyclic steady state.

    Attributes
    ----------
    built : Built
        Casting and tool; `solve(built, die_c)` gives the shot.
    die_c : array (die cells,)
        Die at the start of the shot, in the order of `built.problem.die.active` [degC].
    surface_c : float32 array of the shape of the grid
        Surface of the die at the start of the shot at each voxel of the casting that touches it, else NaN [degC].
    mean_surface_c : float
        Mean over that surface [degC].
    cycles, coarse_cycles : int
        Cycles solved on the grid, and before on larger voxels to find the steady state; 0 of these without a spin-up.
    natural_cycles : int
        Cycles after which the die by itself comes as near to the steady state, on the larger voxels if there are any.
    residual_k : float
        Largest change of any place of the die over the last cycle [K].
    converged : bool
        Whether that and the correction still made lie within the tolerance, and the heat balances.
    warm_up_c : array (shots,)
        Mean surface of the die at the start of each shot from the given die temperature [degC].
    solid_s : float
        From pouring until all is solid; NaN when that takes several times as long as the die is closed [s].
    opens_solid : bool
        Whether all is solid when the die opens.
    heat_j : dict of str to float
        Heat of the last cycle: taken by each of the surroundings, and given by the metal ("metal") [J].
    heat_residual : float
        Heat taken by the surroundings less that given by the metal, over the latter [-].
    length_s : float
        From shot to shot [s].
    notes : tuple of str
        What the user should know.
    """

    built: Built
    die_c: Array
    surface_c: Field
    mean_surface_c: float
    cycles: int
    coarse_cycles: int
    natural_cycles: int
    residual_k: float
    converged: bool
    warm_up_c: Array
    solid_s: float
    opens_solid: bool
    heat_j: dict[str, float]
    heat_residual: float
    length_s: float
    notes: tuple[str, ...]


def steady_cycle(
    grid: Grid,
    *,
    surface: Mesh,
    parts: ToolParts,
    tolerance_k: float = 1.0,
    pace: Pace = PACE,
    coarser: float = COARSER,
    **given: Any,
) -> CycleResult:
    """Return the die in its cyclic steady state.

    The metal fills the cavity at once, at the temperature of the melt; filling only takes its time.

    Parameters
    ----------
    grid : Grid
        The casting; for a sector, its axis along z through x = y = 0 [mm].
    surface : Mesh
        The same casting as a closed mesh, in the same place [mm].
    parts : ToolParts
        The tool with its cycle.
    tolerance_k : float
        Largest change over a cycle, and largest correction left, that counts as steady; the heat of a cycle balances
        to a few thousandths besides [K].
    pace : Pace
        Lengths of the time steps.
    coarser : float
        Voxels of the spin-up over those of the grid; 1: no spin-up [-].
    **given
        The other arguments of `build`.

    Returns
    -------
    CycleResult
        Die, warm-up and heat balance.

    Raises
    ------
    InputError
        If there is no cycle, its values are impossible, or the casting cannot be built.
    """
    cycle = _checked(parts.cycle, tolerance_k)
    fine = _Run(build(grid, surface=surface, parts=parts, **given), cycle, pace)
    notes: list[str] = []
    rough = _rough(fine, coarser, surface, parts, given, notes)
    if rough is None:
        rough, steady = fine, fine.settle(fine.start, tolerance_k)
        coarse, curve_of = 0, steady.state
    else:
        before = rough.settle(rough.start, FINER_TOLERANCE * tolerance_k)
        steps = tuple((_carried(rough.built, fine.built, a), _carried(rough.built, fine.built, b))
                      for a, b in before.steps)  # fmt: skip
        steady = fine.settle(_carried(rough.built, fine.built, before.state), tolerance_k, steps)
        coarse, curve_of = before.turns, before.state
    curve, near = warm_up(_Run(rough.built, cycle, pace).shots, curve_of, tolerance_k, MOST_WARM_UP)
    if not near:
        notes.append(f"after {len(curve) - 1} natural shots the die is still more than {tolerance_k:g} K off")
    return _result(fine, steady, (coarse, curve), notes)


def _checked(cycle: Cycle | None, tolerance_k: float) -> Cycle:
    """Return the cycle, or raise `InputError` for the first value with which there can be none."""
    if cycle is None:
        raise input_error("cycle", "", "no production cycle is given", "the times of its phases", "state them")
    values = {name: float(getattr(cycle, name)) for name in cycle.__dataclass_fields__}
    limits = {name: next(span for end, span in _RANGES.items() if name.endswith(end)) for name in values}
    values |= {"closed_s": cycle.closed_s, "tolerance_k": tolerance_k}
    limits |= {"closed_s": (_LEAST_CLOSED_S, 36000.0), "tolerance_k": (1e-3, 100.0)}
    for name, value in values.items():
        least, most = limits[name]
        if not least <= value <= most:
            raise input_error("cycle", name, f"{value:g} is out of range", f"{least:g} to {most:g}",
                              "check the value and its unit")  # fmt: skip
    return cycle


class _Run:
    """A built casting with its cycle."""

    def __init__(self, built: Built, cycle: Cycle, pace: Pace) -> None:
        self.built, self.shots = built, Shots(built.problem, cycle, pace, built.fresh)

    @property
    def start(self) -> Array:
        """Die as built [degC]."""
        problem = self.built.problem
        return np.asarray(problem.die_temp_c[problem.die.active], dtype=float)

    def settle(self, start: Array, tolerance_k: float, steps: Steps = ()) -> FixedPoint:
        """Return the steady state."""
        return fixed_point(self.shots.turn, start, bounds=self.shots.range_c, tolerance=tolerance_k, most=MOST_CYCLES,
                           steps=steps, enough=lambda: abs(self.shots.imbalance) < BALANCED)  # fmt: skip


def _rough(
    fine: _Run, coarser: float, surface: Mesh, parts: ToolParts, given: dict[str, Any], notes: list[str]
) -> _Run | None:
    """Return the same casting in larger voxels; none, with a note, when these are too coarse for it."""
    if coarser <= 1.0:
        return None
    grid = fine.built.grid
    spacing = coarser * grid.spacing_mm
    try:
        large = voxelise(surface, spacing)
        x, y, z = large.centres_mm
        place = tuple(np.moveaxis(grid.index(np.stack(np.meshgrid(x, y, z, indexing="ij"), axis=-1)), -1, 0))
        fields = {name: value[place] if np.shape(value) == grid.shape else value for name, value in given.items()
                  if name != "thinnest_mm"}  # fmt: skip
        built = build(large, surface=surface, parts=parts, **fields)
    except InputError as refused:
        notes.append(f"no spin-up on voxels of {spacing:g} mm: {refused}")
        return None
    return _Run(built, fine.shots.cycle, fine.shots.pace)


def _carried(rough: Built, fine: Built, values: Array) -> Array:
    """Return values of the die cells of a coarser grid at those of a finer one."""
    shape = rough.box.fraction.shape
    held = np.zeros(shape, dtype=bool)
    held.reshape(-1)[rough.problem.die.active] = True
    field = np.zeros(shape)
    field[held] = values
    nearest = distance_transform_edt(~held, return_distances=False, return_indices=True)
    cells = np.column_stack(np.unravel_index(fine.problem.die.active, fine.box.fraction.shape)) + fine.box.first
    points = fine.grid.origin_mm + fine.grid.spacing_mm * (cells + 0.5)
    places = (points - rough.grid.origin_mm) / rough.grid.spacing_mm - rough.box.first - 0.5
    return np.asarray(map_coordinates(field[tuple(nearest)], places.T, order=1, mode="nearest"))


def _result(fine: _Run, steady: FixedPoint, before: tuple[int, Array], notes: list[str]) -> CycleResult:
    """Return what is told of the steady state."""
    shots, (coarse, curve) = fine.shots, before
    shot = shots.shot if shots.shot is not None else march(shots.problem, shots.pace, until_s=shots.cycle.closed_s)
    solid_s = _solid_s(shots, shot, steady.state)
    opens_solid = solid_s <= shots.cycle.closed_s
    if not opens_solid:
        notes.append(_too_early(solid_s, shots.cycle.closed_s))
    if not steady.found:
        notes.append(f"not steady within {steady.turns} cycles: the die still changes by {steady.change:.1f} K a cycle")
    at_rest = shots.surface_c(steady.state)
    surface = spread(fine.built, replace(shot, link_c=np.column_stack([at_rest, at_rest]))).die_last_c
    return CycleResult(
        fine.built, steady.state, surface, shots.mean_surface_c(steady.state), steady.turns, coarse, len(curve) - 1,
        steady.change, steady.found, curve, solid_s, opens_solid, shots.heat_j, shots.imbalance,
        shots.cycle.length_s, tuple(notes),
    )  # fmt: skip


def _solid_s(shots: Shots, shot: March, die_c: Array) -> float:
    """Return when all is solid, were the die left closed; NaN when that is not within a few times as long [s]."""
    times = shot.times_s[-1]
    if np.isnan(times).any():
        longest = _FOLLOWED * shots.cycle.closed_s
        times = march(started(shots.problem, die_c), shots.pace, until_s=longest).times_s[-1]
    return float(times.max())


def _too_early(solid_s: float, closed_s: float) -> str:
    """Return in words that the casting is not solid when the die opens."""
    late = f"{solid_s - closed_s:.0f} s" if np.isfinite(solid_s) else f"more than {(_FOLLOWED - 1) * closed_s:.0f} s"
    return (
        f"the die opens {late} before the casting is solid: danger of hot tearing, distortion and liquid metal "
        "leaking out; leave it closed for longer"
    )

"""Freezing times of many walls over many draws: a dozen walls are solved for each draw, the rest is interpolated."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from castq.core.errors import input_error
from castq.materials.types import Alloy, DieMaterial
from castq.thermal.wall import WallTimes, freeze_walls

Array = NDArray[np.float64]

# Spacing of the solved walls on the log scale; with it the spline is within 0.1 % of the wall solution.
NODE_SPACING = 0.33
FEWEST_NODES = 4
# Walls this far outside the solved range are extrapolated, for sections that are themselves uncertain.
OVERRUN = 1.1
TIMES = ("liquidus_s", "coherency_s", "cutoff_s", "solid_s", "surface_liquidus_s", "surface_solid_s")


@dataclass(frozen=True, slots=True, eq=False)
class FreezingCurve:
    """Times of the solved walls; `times` gives those of any wall between them.

    Attributes
    ----------
    wall_mm : array (nodes,)
        Solved walls, rising [mm].
    solved : WallTimes
        Their times, arrays (nodes, draws).
    """

    wall_mm: Array
    solved: WallTimes

    def times(self, wall_mm: ArrayLike) -> WallTimes:
        """Return the times of walls, interpolated on log time against log wall.

        Parameters
        ----------
        wall_mm : array_like (walls,) or (walls, draws)
            Thickness of the plate [mm]: the same in all draws, or one for each draw.

        Returns
        -------
        WallTimes
            Arrays (walls, draws); `energy_residual` is the largest among the solved walls of the draw.

        Raises
        ------
        InputError
            If a wall lies outside the solved range by more than a tenth.
        """
        walls = np.asarray(wall_mm, dtype=float)
        self._check_range(walls)
        values = {name: np.log(getattr(self.solved, name)) for name in TIMES}
        values["die_surface_c"] = self.solved.die_surface_c
        evaluate = _shared_walls if walls.ndim == 1 else _own_walls
        found = dict(zip(values, evaluate(np.log(self.wall_mm), np.log(walls), list(values.values())), strict=True))
        for name in TIMES:
            np.exp(found[name], out=found[name])
        worst = np.abs(self.solved.energy_residual).max(axis=0)
        return WallTimes(**found, energy_residual=np.broadcast_to(worst, found["solid_s"].shape))

    def _check_range(self, walls: Array) -> None:
        low, high = self.wall_mm[0] / OVERRUN, self.wall_mm[-1] * OVERRUN
        outside = ~((walls >= low) & (walls <= high))
        if outside.any():
            raise input_error(
                "freezing curve", "wall_mm", f"{walls[outside][0]:g} mm is outside the solved walls",
                f"{low:.3g} to {high:.3g} mm", "solve the curve for the range of the sections",
            )  # fmt: skip


def freezing_curve(
    *,
    alloy: Alloy,
    die: DieMaterial,
    melt_temp_c: ArrayLike,
    die_temp_c: ArrayLike,
    contact_w_m2k: ArrayLike,
    gap_w_m2k: ArrayLike,
    die_wall_mm: ArrayLike = 40.0,
    latent_heat_factor: ArrayLike = 1.0,
    conductivity_factor: ArrayLike = 1.0,
    outer_w_m2k: ArrayLike = 200.0,
    outer_temp_c: ArrayLike = 100.0,
    wall_range_mm: tuple[float, float] = (2.5, 90.0),
) -> FreezingCurve:
    """Solve a dozen walls, evenly spread on the log scale, for each draw.

    Parameters
    ----------
    alloy : Alloy
        Casting alloy.
    die : DieMaterial
        Die material.
    melt_temp_c, die_temp_c : array_like (draws,)
        Metal and die at the start [degC].
    contact_w_m2k, gap_w_m2k : array_like (draws,)
        Interface coefficient before and after the surface is half frozen [W/m2K].
    die_wall_mm : array_like (draws,)
        Die thickness behind the casting [mm].
    latent_heat_factor, conductivity_factor : array_like (draws,)
        Factors on the alloy's latent heat and conductivity [-].
    outer_w_m2k, outer_temp_c : array_like (draws,)
        Coefficient [W/m2K] and surroundings [degC] of the outer die face.
    wall_range_mm : tuple of float
        Thinnest and thickest wall that will be asked for [mm].

    Returns
    -------
    FreezingCurve
        The solved walls.

    Raises
    ------
    InputError
        As `freeze_walls`, and if the range is not two rising positive numbers.
    """
    low, high = wall_range_mm
    if not 0.0 < low < high < np.inf:
        raise input_error(
            "freezing curve", "wall_range_mm", f"{low:g} to {high:g} mm is not a range", "0 < thinnest < thickest",
            "take the range from the sections",
        )  # fmt: skip
    nodes = max(FEWEST_NODES, int(np.ceil(np.log(high / low) / NODE_SPACING)) + 1)
    walls = np.geomspace(low, high, nodes)
    given = (
        melt_temp_c, die_temp_c, contact_w_m2k, gap_w_m2k, die_wall_mm, latent_heat_factor, conductivity_factor,
        outer_w_m2k, outer_temp_c,
    )  # fmt: skip
    per_draw = np.broadcast_arrays(*(np.atleast_1d(np.asarray(value, dtype=float)) for value in given))
    draws = per_draw[0].size
    melt, start, contact, gap, back, latent, conductivity, outer, outer_temp = (np.tile(v, nodes) for v in per_draw)
    runs = freeze_walls(
        np.repeat(walls, draws), alloy=alloy, die=die, melt_temp_c=melt, die_temp_c=start, contact_w_m2k=contact,
        gap_w_m2k=gap, die_wall_mm=back, latent_heat_factor=latent, conductivity_factor=conductivity,
        outer_w_m2k=outer, outer_temp_c=outer_temp,
    )  # fmt: skip
    shaped = {field.name: getattr(runs, field.name).reshape(nodes, draws) for field in fields(runs)}
    return FreezingCurve(walls, WallTimes(**shaped))


def _shared_walls(nodes: Array, at: Array, values: list[Array]) -> list[Array]:
    """Return the splines at walls (walls,) shared by all draws: one matrix for all of them."""
    weights = CubicSpline(nodes, np.eye(nodes.size))(at)
    return [weights @ value for value in values]


def _own_walls(nodes: Array, at: Array, values: list[Array]) -> list[Array]:
    """Return the splines at walls (walls, draws), one for each draw."""
    draws = values[0].shape[1]
    piece = np.clip(np.searchsorted(nodes, at) - 1, 0, nodes.size - 2)
    step = at - nodes[piece]
    flat = piece * draws + np.arange(draws)
    found = []
    for value in values:
        cubic, square, line, start = (np.take(c.reshape(-1), flat) for c in CubicSpline(nodes, value).c)
        found.append(((cubic * step + square) * step + line) * step + start)
    return found

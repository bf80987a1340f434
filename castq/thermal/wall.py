"""Transient freezing of a wall against a die that heats up, in one dimension across the wall.

Half of a symmetric plate and the die behind it, enthalpy finite volumes, explicit in time. The interface is two half
cells and a film in series; the film's coefficient drops from contact to gap when the casting's surface has half frozen,
and stays there: better contact alone therefore lets the skin leave sooner, and beyond about 3000 W/m2K can delay the
middle of a thick wall. Heat is conserved to round-off.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq import materials
from castq.core.arguments import check_range
from castq.core.errors import input_error
from castq.core.relation import Band, relation
from castq.materials.types import Alloy, DieMaterial
from castq.thermal import wall_kernel as kernel
from castq.thermal.wall_march import MOST_STEPS, Runs, half_wall_cells, march_runs

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class WallTimes:
    """When the wall freezes: times from pouring, all arrays of one shape.

    Attributes
    ----------
    liquidus_s, coherency_s, cutoff_s, solid_s : array
        Middle of the wall at liquidus, coherency, feeding cut-off and end of freezing [s].
    surface_liquidus_s, surface_solid_s : array
        Skin of the wall at liquidus and at the end of freezing [s].
    die_surface_c : array
        Die surface when the middle is solid [degC].
    energy_residual : array
        Heat taken up by die and surroundings less heat given by the wall, over the latter [-].
    """

    liquidus_s: Array
    coherency_s: Array
    cutoff_s: Array
    solid_s: Array
    surface_liquidus_s: Array
    surface_solid_s: Array
    die_surface_c: Array
    energy_residual: Array

    @property
    def local_solidification_s(self) -> Array:
        """Middle of the wall, liquidus to end of freezing [s]."""
        return self.solid_s - self.liquidus_s

    @property
    def surface_local_solidification_s(self) -> Array:
        """Skin of the wall, liquidus to end of freezing [s]."""
        return self.surface_solid_s - self.surface_liquidus_s


def freeze_walls(
    wall_mm: ArrayLike,
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
    cells: int | None = None,
) -> WallTimes:
    """Freeze plates cooled from both sides; all inputs broadcast to one axis of runs.

    Parameters
    ----------
    wall_mm : array_like
        Thickness of the plate [mm].
    alloy : Alloy
        Casting alloy.
    die : DieMaterial
        Die material.
    melt_temp_c, die_temp_c : array_like
        Metal and die at the start [degC].
    contact_w_m2k, gap_w_m2k : array_like
        Interface coefficient before and after the surface is half frozen [W/m2K].
    die_wall_mm : array_like
        Die thickness behind the casting [mm].
    latent_heat_factor, conductivity_factor : array_like
        Factors on the alloy's latent heat and conductivity [-].
    outer_w_m2k, outer_temp_c : array_like
        Coefficient [W/m2K] and surroundings [degC] of the outer die face.
    cells : int, optional
        Cells in the half wall; chosen from the thickness when not given.

    Returns
    -------
    WallTimes
        Arrays (runs,).

    Raises
    ------
    InputError
        If a value is not finite or not positive, or the wall cannot freeze.
    """
    given = (
        wall_mm,
        melt_temp_c,
        die_temp_c,
        contact_w_m2k,
        gap_w_m2k,
        die_wall_mm,
        latent_heat_factor,
        conductivity_factor,
        outer_w_m2k,
        outer_temp_c,
    )
    shaped = np.broadcast_arrays(*(np.atleast_1d(np.asarray(value, dtype=float)) for value in given))
    runs = Runs(*(np.ascontiguousarray(value) for value in shaped))
    _check(runs, alloy)
    if cells is not None and cells < 2:
        raise input_error("wall", "cells", f"{cells} is too few", "2 or more", "leave it out to have it chosen")
    half_cells = half_wall_cells(runs.wall_mm) if cells is None else np.full(runs.wall_mm.shape, cells)
    out = march_runs(runs, alloy, die, half_cells)
    _check_solid(out, runs)
    return times_from(out)


@relation(
    id="wall-transient-1d",
    title="Local solidification time of a wall in a die, transient in one dimension",
    source="heat conduction with latent heat by fraction solid, enthalpy finite volumes; held against the closed "
    "forms of Neumann and Schwarz (Carslaw and Jaeger, Conduction of Heat in Solids, 1959)",
    provenance="derived",
    band=Band("relative", 0.3, "with a literature interface coefficient; a few percent once it is calibrated"),
    valid={
        "wall_mm": (2.0, 100.0),
        "contact_w_m2k": (100.0, 20000.0),
        "gap_w_m2k": (50.0, 20000.0),
        "die_temp_c": (20.0, 500.0),
    },
)
def wall_local_solidification_time(
    wall_mm: ArrayLike,
    contact_w_m2k: ArrayLike,
    gap_w_m2k: ArrayLike,
    die_temp_c: ArrayLike,
    melt_temp_c: ArrayLike,
    *,
    alloy: str = "AlSi7Mg0.3",
    die: str = "H13",
    until_fraction_solid: float = 1.0,
) -> Array:
    """Return the local solidification time in the middle of a plate cooled from both sides.

    Parameters
    ----------
    wall_mm : array_like
        Thickness of the plate [mm].
    contact_w_m2k, gap_w_m2k : array_like
        Interface coefficient before and after the surface is half frozen [W/m2K].
    die_temp_c, melt_temp_c : array_like
        Die and metal at the start [degC].
    alloy, die : str
        Names of the alloy and of the die material, 40 mm thick.
    until_fraction_solid : float
        Fraction solid at which the clock stops [-]; 1 is the end of freezing.

    Returns
    -------
    array
        Time from liquidus to that fraction solid, in the shape of the inputs [s].
    """
    times, shape = _named_wall_times(
        (wall_mm, contact_w_m2k, gap_w_m2k, die_temp_c, melt_temp_c), alloy, die, until_fraction_solid
    )
    return np.asarray((times.cutoff_s - times.liquidus_s).reshape(shape))


@relation(
    id="wall-solid-time-1d",
    title="Time from pouring until a wall in a die is solid, transient in one dimension",
    source="heat conduction with latent heat by fraction solid, enthalpy finite volumes; held against the closed "
    "forms of Neumann and Schwarz (Carslaw and Jaeger, Conduction of Heat in Solids, 1959)",
    provenance="derived",
    band=Band("relative", 0.3, "with a literature interface coefficient; a few percent once it is calibrated"),
    valid={
        "wall_mm": (2.0, 100.0),
        "contact_w_m2k": (100.0, 20000.0),
        "gap_w_m2k": (50.0, 20000.0),
        "die_temp_c": (20.0, 500.0),
    },
)
def wall_solid_time(
    wall_mm: ArrayLike,
    contact_w_m2k: ArrayLike,
    gap_w_m2k: ArrayLike,
    die_temp_c: ArrayLike,
    melt_temp_c: ArrayLike,
    *,
    alloy: str = "AlSi7Mg0.3",
    die: str = "H13",
    until_fraction_solid: float = 1.0,
) -> Array:
    """Return the time from pouring until the middle of a plate cooled from both sides is solid.

    Parameters
    ----------
    wall_mm : array_like
        Thickness of the plate [mm].
    contact_w_m2k, gap_w_m2k : array_like
        Interface coefficient before and after the surface is half frozen [W/m2K].
    die_temp_c, melt_temp_c : array_like
        Die and metal at the start [degC].
    alloy, die : str
        Names of the alloy and of the die material, 40 mm thick.
    until_fraction_solid : float
        Fraction solid at which the clock stops [-]; 1 is the end of freezing.

    Returns
    -------
    array
        Time from pouring to that fraction solid, in the shape of the inputs [s].
    """
    times, shape = _named_wall_times(
        (wall_mm, contact_w_m2k, gap_w_m2k, die_temp_c, melt_temp_c), alloy, die, until_fraction_solid
    )
    return np.asarray(times.cutoff_s.reshape(shape))


def _named_wall_times(
    inputs: tuple[ArrayLike, ...], alloy: str, die: str, until_fraction_solid: float
) -> tuple[WallTimes, tuple[int, ...]]:
    """Return the times of plates of named materials, their cut-off moved to a fraction solid, and the inputs' shape."""
    shaped = np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in inputs))
    wall, contact, gap, die_temp, melt_temp = (value.reshape(-1) for value in shaped)
    check_range("until_fraction_solid", until_fraction_solid, 0.01, 1.0, "fraction solid")
    metal = materials.alloy(alloy)
    metal = replace(metal, coherency_fs=min(metal.coherency_fs, until_fraction_solid), cutoff_fs=until_fraction_solid)
    times = freeze_walls(
        wall, alloy=metal, die=materials.die_material(die), melt_temp_c=melt_temp, die_temp_c=die_temp,
        contact_w_m2k=contact, gap_w_m2k=gap,
    )  # fmt: skip
    end = times.cutoff_s if until_fraction_solid < 1.0 else times.solid_s
    return replace(times, cutoff_s=end), shaped[0].shape


def times_from(out: Array) -> WallTimes:
    """Return the kernel's result as named arrays."""
    order = (
        kernel.LIQUIDUS,
        kernel.COHERENCY,
        kernel.CUTOFF,
        kernel.SOLID,
        kernel.SURFACE_LIQUIDUS,
        kernel.SURFACE_SOLID,
        kernel.DIE_SURFACE,
        kernel.RESIDUAL,
    )
    return WallTimes(*(np.ascontiguousarray(out[:, column]) for column in order))


def _check(runs: Runs, alloy: Alloy) -> None:
    """Raise `InputError` for the first input with which no wall can freeze."""
    for name in Runs.__slots__:
        values = getattr(runs, name)
        positive = not name.endswith("_c")
        bad = ~np.isfinite(values) | (values <= 0.0 if positive else values < -273.15)
        if bad.any():
            limit = "a positive number" if positive else "a temperature above absolute zero"
            raise input_error("wall", name, f"{values[bad][0]:g} is not {limit}", limit, "check the value and its unit")
    cold = runs.melt_temp_c < alloy.liquidus_c
    if cold.any():
        raise input_error(
            "wall",
            "melt_temp_c",
            f"{runs.melt_temp_c[cold][0]:g} degC is below the liquidus of {alloy.id}",
            f"at least {alloy.liquidus_c:g} degC",
            "raise the melt temperature",
        )
    for name in ("die_temp_c", "outer_temp_c"):
        hot = getattr(runs, name) >= alloy.end_of_freezing_c
        if hot.any():
            raise input_error(
                "wall",
                name,
                f"at {getattr(runs, name)[hot][0]:g} degC a wall of {alloy.id} never freezes",
                f"below the end of freezing, {alloy.end_of_freezing_c:g} degC",
                "lower the temperature",
            )


def _check_solid(out: Array, runs: Runs) -> None:
    """Raise `InputError` if a run has not frozen within the longest march."""
    open_runs = np.isnan(out[:, kernel.SOLID])
    if open_runs.any():
        wall, film = runs.wall_mm[open_runs][0], runs.gap_w_m2k[open_runs][0]
        raise input_error(
            "wall", "wall_mm", f"a wall of {wall:g} mm at {film:g} W/m2K is still liquid after {MOST_STEPS} time steps",
            "a wall that freezes", "lower the die temperature or raise the interface coefficient",
        )  # fmt: skip

"""Freezing of a real shape in a die grown around it: transient heat flow in three dimensions on cut voxels."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import distance_transform_edt

from castq.core.errors import input_error
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import Grid
from castq.materials.types import Alloy, DieMaterial
from castq.thermal.die_growth import Box, Sector, grow_die, outer_faces
from castq.thermal.heat_table import HeatTable, heat_table, temperature_at_fraction
from castq.thermal.solid_grid import Cells, cut_cells
from castq.thermal.solid_march import march
from castq.thermal.solid_patches import Patches, surface_patches, true_fractions
from castq.thermal.solid_problem import March, Pace, Problem
from castq.thermal.wall_march import SKIN_LEAVES_AT_FS

Array = NDArray[np.float64]
Field = NDArray[np.float32]

MOST_STEPS = 50_000
# Interface coefficients outside these are a slip of the unit [W/m2K].
_COEFFICIENTS = (1.0, 1e6)


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
        Largest rise of temperature of any place of the casting within one step [K].
    cells : dict of str to float
        Cells of casting and die; share of the casting's volume and of its surface that they hold [-].
    steps, updates : int
        Long steps in time, and cell updates.
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

    @property
    def local_solidification_s(self) -> Field:
        """Time from liquidus to end of freezing [s]."""
        return self.solid_s - self.liquidus_s


def freeze_solid(
    grid: Grid,
    *,
    surface: Mesh,
    alloy: Alloy,
    die: DieMaterial,
    melt_temp_c: float,
    die_temp_c: ArrayLike,
    contact_w_m2k: ArrayLike,
    gap_w_m2k: ArrayLike,
    die_wall_mm: float = 40.0,
    sector: Sector | None = None,
    outer_w_m2k: float = 200.0,
    outer_temp_c: float = 100.0,
    gradient_fs: float = 0.9,
    latent_heat_factor: float = 1.0,
    conductivity_factor: float = 1.0,
    pace: Pace | None = None,
    memory_bytes: float | None = None,
) -> SolidTimes:
    """Freeze a casting in a die grown around it.

    Parameters
    ----------
    grid : Grid
        The casting; for a sector, its axis along z through x = y = 0 [mm].
    surface : Mesh
        The same casting as a closed mesh, in the same place [mm].
    alloy : Alloy
        Casting alloy.
    die : DieMaterial
        Die material.
    melt_temp_c : float
        Metal at the start [degC].
    die_temp_c : array_like, () or the shape of the grid
        Die at the start, one or for each place of the casting it lies nearest to [degC].
    contact_w_m2k, gap_w_m2k : array_like, () or the shape of the grid
        Interface coefficient before and after the skin is half frozen, one or for each place [W/m2K].
    die_wall_mm : float
        Die thickness behind the casting [mm].
    sector : Sector, optional
        Part between two mirror planes that is solved for the whole.
    outer_w_m2k, outer_temp_c : float
        Coefficient [W/m2K] and surroundings [degC] of the outer die face.
    gradient_fs : float
        Fraction solid at which gradient and cooling rate are noted, not before the feeding cut-off [-].
    latent_heat_factor, conductivity_factor : float
        Factors on the alloy's latent heat and conductivity [-].
    pace : Pace, optional
        Lengths of the time steps.
    memory_bytes : float, optional
        Memory that may be used; most of the machine's when not given [bytes].

    Returns
    -------
    SolidTimes
        Times of each voxel with metal; with a sector, all its copies included.

    Raises
    ------
    InputError
        If a value is impossible, the casting cannot freeze, the voxels are too coarse, or memory is short.
    """
    places = {"die_temp_c": die_temp_c, "contact_w_m2k": contact_w_m2k, "gap_w_m2k": gap_w_m2k}
    fields = {name: _on_grid(name, value, grid) for name, value in places.items()}
    numbers = {"melt_temp_c": melt_temp_c, "die_wall_mm": die_wall_mm, "outer_w_m2k": outer_w_m2k,
               "outer_temp_c": outer_temp_c, "gradient_fs": gradient_fs, "latent_heat_factor": latent_heat_factor,
               "conductivity_factor": conductivity_factor}  # fmt: skip
    _check(alloy, fields, numbers)
    patches = surface_patches(surface, grid, sector)
    box = grow_die(true_fractions(surface, grid, patches), die_wall_mm, sector, memory_bytes)
    cells, shares = _cells(grid, patches, box)
    problem = _problem(alloy, die, box, cells, fields, numbers, grid)
    result = march(problem, pace, most_steps=MOST_STEPS)
    _check_solid(result, alloy)
    return _spread(grid, box, cells, sector, result, shares)


def _on_grid(name: str, value: ArrayLike, grid: Grid) -> Array:
    """Return a value for each voxel of the grid, or refuse another shape."""
    given = np.asarray(value, dtype=float)
    if given.shape not in {(), grid.shape}:
        raise input_error("solid", name, f"an array of shape {given.shape}", f"one number or the grid's {grid.shape}")
    return np.broadcast_to(given, grid.shape)


def _check(alloy: Alloy, fields: dict[str, Array], numbers: dict[str, float]) -> None:
    """Raise `InputError` for the first input with which no casting can freeze."""
    given = {name: field[np.isfinite(field)] if field.strides != (0, 0, 0) else field[:1, :1, :1] for name, field in
             fields.items()} | {name: np.array([value], dtype=float) for name, value in numbers.items()}  # fmt: skip
    low, high = _COEFFICIENTS
    limits = {
        "contact_w_m2k": (low, high), "gap_w_m2k": (low, high), "outer_w_m2k": (0.1, high),
        "die_temp_c": (-100.0, alloy.end_of_freezing_c - 1.0), "outer_temp_c": (-100.0, alloy.end_of_freezing_c - 1.0),
        "melt_temp_c": (alloy.liquidus_c, 1200.0), "die_wall_mm": (1.0, 1000.0),
        "gradient_fs": (alloy.cutoff_fs, 1.0), "latent_heat_factor": (0.1, 10.0), "conductivity_factor": (0.1, 10.0),
    }  # fmt: skip
    why = {"melt_temp_c": f"; the liquidus of {alloy.id} is {alloy.liquidus_c:g} degC"} | dict.fromkeys(
        ("die_temp_c", "outer_temp_c"), f"; {alloy.id} freezes at {alloy.end_of_freezing_c:g} degC at last"
    )
    for name, values in given.items():
        least, most = limits[name]
        bad = ~((values >= least) & (values <= most))
        if values.size == 0 or bad.any():
            found = f"{values[bad][0]:g}" if values.size else "no finite value"
            expected = f"{least:g} to {most:g}{why.get(name, '')}"
            raise input_error("solid", name, f"{found} is out of range", expected, "check the value and its unit")


def _cells(grid: Grid, patches: Patches, box: Box) -> tuple[Cells, dict[str, float]]:
    """Return the cells, their number, and how much of volume and surface they hold."""
    points = patches.points_mm - grid.origin_mm - grid.spacing_mm * box.first
    cells = cut_cells(box.fraction, box.die, box.inside, replace(patches, points_mm=points), grid.spacing_mm)
    volume = float(box.fraction[box.inside].sum(dtype=np.float64))
    shares = {
        "casting": float(cells.casting.active.size),
        "die": float(cells.die.active.size),
        "volume_share": float(cells.casting.volume.sum()) / volume,
        "surface_share": cells.surface_share,
    }
    for name, least in (("volume_share", 0.98), ("surface_share", 0.95)):
        if not shares[name] >= least:
            raise input_error(
                "grid", "", f"voxels of {grid.spacing_mm:g} mm hold only {100 * shares[name]:.0f} % of the casting's "
                f"{name.split('_')[0]}", "walls at least two voxels thick, and a surface that belongs to the grid",
                "take smaller voxels",
            )  # fmt: skip
    return cells, shares


def _problem(
    alloy: Alloy,
    die: DieMaterial,
    box: Box,
    cells: Cells,
    fields: dict[str, Array],
    numbers: dict[str, float],
    grid: Grid,
) -> Problem:
    """Return the problem the march solves."""
    table = heat_table(alloy, np.array([numbers["latent_heat_factor"]]), np.array([numbers["conductivity_factor"]]))
    at_links = np.column_stack(np.unravel_index(cells.links.casting, box.fraction.shape)) + box.first
    nearest = np.clip(box.nearest.reshape(3, -1).T + box.first, 0, np.array(grid.shape) - 1)
    links = {name: fields[name][tuple(at_links.T)] for name in ("contact_w_m2k", "gap_w_m2k")}
    return Problem(
        cells.casting, cells.die, cells.links, 1e-3 * grid.spacing_mm, table,
        *_marks(table, alloy, numbers["gradient_fs"]),
        float(table.start_j_m3(np.array([numbers["melt_temp_c"]]))[0]),
        temperature_at_fraction(alloy, SKIN_LEAVES_AT_FS), links["contact_w_m2k"], links["gap_w_m2k"],
        die.k_w_mk, die.density_kg_m3 * die.cp_j_kgk, fields["die_temp_c"][tuple(nearest.T)],
        outer_faces(box), numbers["outer_w_m2k"], numbers["outer_temp_c"],
    )  # fmt: skip


def _marks(table: HeatTable, alloy: Alloy, gradient_fs: float) -> tuple[Array, Array]:
    """Return enthalpy [J/m3] and temperature [degC] of the marks, in the order of the kernel's events."""
    solids = (alloy.coherency_fs, alloy.cutoff_fs, gradient_fs)
    temps = np.array(
        [alloy.liquidus_c, *(temperature_at_fraction(alloy, fs) for fs in solids), alloy.end_of_freezing_c]
    )
    knots = table.bounds_j_m3[0, 1:-1]
    steep = float(np.interp(temps[3], table.lines[0, 1:, 2] + table.lines[0, 1:, 3] * knots, knots))
    coherency, cutoff, solid = table.marks_j_m3[0]
    return np.array([table.liquidus_j_m3[0], coherency, cutoff, min(steep, cutoff), solid]), temps


def _check_solid(result: March, alloy: Alloy) -> None:
    """Raise `InputError` if a part of the casting has not frozen."""
    left = np.isnan(result.times_s[-1])
    if left.any():
        raise input_error(
            "solid", "", f"{np.count_nonzero(left)} cells of {alloy.id} not yet solid after {result.seconds_s:.0f} s",
            "a casting that freezes", "lower the die temperature or raise the interface coefficient",
        )  # fmt: skip


def _spread(
    grid: Grid, box: Box, cells: Cells, sector: Sector | None, result: March, shares: dict[str, float]
) -> SolidTimes:
    """Return the result on the casting's grid."""
    metal = np.argwhere(grid.fraction > 0.0)
    cell = _cell_of(grid, box, cells, sector, metal)
    slot = np.full(cells.casting.volume.size, -1)
    slot[cells.casting.active] = np.arange(cells.casting.active.size)
    place, rows = tuple(metal.T), slot[cell]

    def on_grid(values: NDArray[np.floating]) -> Field:
        """Return values of the casting's cells on the grid."""
        field = np.full(grid.shape, np.nan, dtype=np.float32)
        field[place] = values[rows]
        return field

    surface = np.full((cells.casting.active.size, 2), -np.inf)
    np.maximum.at(surface, slot[cells.links.casting], result.link_c)
    surface[np.isinf(surface)] = np.nan
    liquidus, coherency, cutoff, _, solid = (on_grid(times) for times in result.times_s)
    return SolidTimes(
        liquidus, coherency, cutoff, solid, on_grid(result.gradient_k / grid.spacing_mm), on_grid(result.rate_k_s),
        on_grid(surface[:, 0]), on_grid(surface[:, 1]), result.residual, result.reheat_k, shares, result.steps,
        result.updates,
    )  # fmt: skip


def _cell_of(grid: Grid, box: Box, cells: Cells, sector: Sector | None, metal: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the flat place in the box of the casting cell that stands for each voxel with metal."""
    shape = box.fraction.shape
    nearest = box.nearest
    owner = cells.casting_owner
    if sector is not None:
        held = cells.casting.volume.reshape(shape) > 0.0
        nearest = distance_transform_edt(~held, return_distances=False, return_indices=True)
        owner = np.where(held.reshape(-1), owner, -1)
        x, y, z = (axis[metal[:, place]] for place, axis in enumerate(grid.centres_mm))
        points = np.column_stack([*sector.folded(x, y), z])
        metal = np.floor((points - grid.origin_mm) / grid.spacing_mm).astype(np.int64)
    place = np.ravel_multi_index(tuple(np.clip(metal - box.first, 0, np.array(shape) - 1).T), shape)
    instead = np.ravel_multi_index(tuple(nearest.reshape(3, -1)[:, place]), shape)
    return np.where(owner[place] >= 0, owner[place], instead)

"""The real shape and its tool as the solid solver takes them: cells of two bodies, what is between and around them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import distance_transform_edt

from castq.core.errors import input_error
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import Grid
from castq.materials.types import Alloy, DieMaterial
from castq.thermal.die_growth import Box, Sector, grow_die
from castq.thermal.heat_table import HeatTable, heat_table, temperature_at_fraction
from castq.thermal.solid_grid import Cells, cut_cells
from castq.thermal.solid_pairs import joined
from castq.thermal.solid_patches import Patches, surface_patches, true_fractions
from castq.thermal.solid_problem import Problem
from castq.thermal.tool import ToolParts
from castq.thermal.tool_checks import CONTACT_W_M2K, check_parts, check_thickness
from castq.thermal.tool_fit import Fitted, OnGate, fit_tool, of_one_material, part_surface, start_and_films
from castq.thermal.tool_heads import Feeding, Head, at_home, feeding_of, set_heads
from castq.thermal.tool_materials import room_of
from castq.thermal.tool_shapes import Frame
from castq.thermal.wall_march import SKIN_LEAVES_AT_FS

Array = NDArray[np.float64]

NO_PARTS = ToolParts()
# Room around the casting beside a drawn die, in voxels.
CLEARANCE = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Built:
    """A casting in its tool, ready to be solved any number of times.

    Attributes
    ----------
    grid : Grid
        The casting, as given.
    alloy : Alloy
        Casting alloy.
    sector : Sector or None
        Part that is solved for the whole.
    box : Box
        Casting and die in voxels, in the frame of the grid.
    cells : Cells
        Bodies and the surface between them.
    problem : Problem
        What the march solves.
    shares : dict of str to float
        Cells of casting and die; share of the casting's volume and of its surface that they hold [-].
    gate : OnGate
        Casting cells that stand on the gate, and their surface there.
    feeding : tuple of Feeding
        What each feeder head feeds.
    fresh : int array
        Die cells of bodies with a start temperature of their own, as places in `problem.die.active`: in a cycle they
        are set in anew for each shot.
    notes : tuple of str
        What deserves a look, in words.
    """

    grid: Grid
    alloy: Alloy
    sector: Sector | None
    box: Box
    cells: Cells
    problem: Problem
    shares: dict[str, float]
    gate: OnGate
    feeding: tuple[Feeding, ...]
    fresh: NDArray[np.int64]
    notes: tuple[str, ...] = ()


def build(
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
    memory_bytes: float | None = None,
    parts: ToolParts = NO_PARTS,
    face_side: int = 1,
    repeats: Sector | None = None,
    thinnest_mm: float | None = None,
) -> Built:
    """Return a casting in its die, ready to be solved.

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
    memory_bytes : float, optional
        Memory that may be used; most of the machine's when not given [bytes].
    parts : ToolParts
        Circuits, cores, inserts and chills, drawn die, feeder heads and gate; its cycle is not looked at.
    face_side : {1, -1}
        Way along z to the face of the wheel, for a gate that does not say which way it looks [-].
    repeats : Sector, optional
        Symmetry by which tubes, plugs, meshes and feeder heads are repeated when the whole is solved; each stands once
        when not given. With a sector, that is their symmetry.
    thinnest_mm : float, optional
        Thinnest wall, to refuse voxels too coarse for it [mm].

    Returns
    -------
    Built
        Cells and problem.

    Raises
    ------
    InputError
        If a value is impossible, the voxels are too coarse, or memory is short.
    """
    places = {"die_temp_c": die_temp_c, "contact_w_m2k": contact_w_m2k, "gap_w_m2k": gap_w_m2k}
    fields = {name: _on_grid(name, value, grid) for name, value in places.items()}
    numbers = {"melt_temp_c": melt_temp_c, "die_wall_mm": die_wall_mm, "outer_w_m2k": outer_w_m2k,
               "outer_temp_c": outer_temp_c, "gradient_fs": gradient_fs, "latent_heat_factor": latent_heat_factor,
               "conductivity_factor": conductivity_factor}  # fmt: skip
    _check(alloy, fields, numbers)
    check_parts(parts, alloy)
    check_thickness(thinnest_mm, grid.spacing_mm)
    work = _set_up(grid, surface, die_wall_mm, parts, (sector, sector or repeats), memory_bytes)
    fitted = fit_tool(work.box, work.frame, parts, work.heads, (sector, sector or repeats), (outer_w_m2k, outer_temp_c))
    cells = _cells(work, fitted.box, sector)
    cells, air, gate = part_surface(fitted, cells, work.patches, work.frame, parts, work.heads,
                                    (face_side, outer_temp_c))  # fmt: skip
    shares = _shares(cells, fitted.box, grid.spacing_mm)
    cells, baths, material = of_one_material(fitted, cells, die)
    fitted = replace(fitted, baths=(*baths, *air))
    problem = _problem(alloy, material, fitted, cells, fields, numbers, grid)
    feeding = feeding_of(work.heads, cells.casting.active, fitted.box, grid, work.frame)
    fresh = np.flatnonzero(fitted.fresh(parts.bodies, cells.die.active))
    return Built(grid, alloy, sector, fitted.box, cells, problem, shares, gate, feeding, fresh, fitted.notes)


@dataclass(frozen=True, slots=True, eq=False)
class _Work:
    """The casting with its feeder heads in the box."""

    box: Box
    frame: Frame
    patches: Patches
    heads: list[Head]


def _set_up(
    grid: Grid,
    surface: Mesh,
    die_wall_mm: float,
    parts: ToolParts,
    sectors: tuple[Sector | None, Sector | None],
    memory_bytes: float | None,
) -> _Work:
    """Return the box with casting, heads and grown die, in the frame of the grid."""
    metal, surface, before, heads = set_heads(grid, surface, parts.feeders, sectors[1])
    patches = surface_patches(surface, metal, sectors[0])
    wall_mm = CLEARANCE * grid.spacing_mm if parts.die else die_wall_mm
    box = grow_die(true_fractions(surface, metal, patches), wall_mm, sectors[0], memory_bytes, room_of(parts.die))
    box = replace(box, first=box.first - before)
    frame = Frame(grid.origin_mm + grid.spacing_mm * box.first, grid.spacing_mm, box.shape)
    return _Work(at_home(box, grid) if heads else box, frame, patches, heads)


def _on_grid(name: str, value: ArrayLike, grid: Grid) -> Array:
    """Return a value for each voxel at least half filled, that of the nearest where none is given there.

    Another shape than the grid's is refused.
    """
    given = np.asarray(value, dtype=float)
    if given.shape not in {(), grid.shape}:
        raise input_error("solid", name, f"an array of shape {given.shape}", f"one number or the grid's {grid.shape}")
    known = np.isfinite(given)
    # The transform over a whole wheel takes longer than the rest of the set-up: only where it is needed.
    if known.any() and bool((grid.solid & ~known).any()):
        given = given[tuple(distance_transform_edt(~known, return_distances=False, return_indices=True))]
    return np.broadcast_to(given, grid.shape)


def _check(alloy: Alloy, fields: dict[str, Array], numbers: dict[str, float]) -> None:
    """Raise `InputError` for the first input with which no casting can freeze."""
    given = {name: field[np.isfinite(field)] if field.strides != (0, 0, 0) else field[:1, :1, :1] for name, field in
             fields.items()} | {name: np.array([value], dtype=float) for name, value in numbers.items()}  # fmt: skip
    low, high = CONTACT_W_M2K
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


def _cells(work: _Work, box: Box, sector: Sector | None) -> Cells:
    """Return the cells."""
    spacing, points = work.frame.spacing_mm, (work.patches.points_mm - work.frame.origin_mm).astype(np.float32)
    cells = cut_cells(box.fraction, box.die, box.inside, replace(work.patches, points_mm=points), spacing)
    return joined(cells, sector, work.frame.origin_mm, spacing)


def _shares(cells: Cells, box: Box, spacing_mm: float) -> dict[str, float]:
    """Return the number of cells, and how much of volume and surface they hold."""
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
                "grid", "", f"voxels of {spacing_mm:g} mm hold only {100 * shares[name]:.0f} % of the casting's "
                f"{name.split('_')[0]}", "walls at least two voxels thick, and a surface that belongs to the grid",
                "take smaller voxels",
            )  # fmt: skip
    return shares


def _problem(
    alloy: Alloy,
    die: DieMaterial,
    fitted: Fitted,
    cells: Cells,
    fields: dict[str, Array],
    numbers: dict[str, float],
    grid: Grid,
) -> Problem:
    """Return the problem the march solves."""
    table = heat_table(alloy, np.array([numbers["latent_heat_factor"]]), np.array([numbers["conductivity_factor"]]))
    everywhere, at_links = slice(None), cells.links.casting
    start, (contact, gap) = start_and_films(
        fitted, _nearest(fields["die_temp_c"], fitted, grid, everywhere),
        (_nearest(fields["contact_w_m2k"], fitted, grid, at_links),
         _nearest(fields["gap_w_m2k"], fitted, grid, at_links)),
        cells.links.die,
    )  # fmt: skip
    none = (np.empty(0, dtype=np.int64), np.empty(0))
    return Problem(
        cells.casting, cells.die, cells.links, 1e-3 * grid.spacing_mm, table,
        *_marks(table, alloy, numbers["gradient_fs"]),
        float(table.start_j_m3(np.array([numbers["melt_temp_c"]]))[0]),
        temperature_at_fraction(alloy, SKIN_LEAVES_AT_FS), contact, gap,
        die.k_w_mk, die.density_kg_m3 * die.cp_j_kgk, start, none, numbers["outer_w_m2k"], numbers["outer_temp_c"],
        fitted.baths,
    )  # fmt: skip


def _nearest(field: Array, fitted: Fitted, grid: Grid, places: slice | NDArray[np.int64]) -> Array:
    """Return the values of a field of the grid where the casting is nearest to each of some voxels of the box."""
    nearest = fitted.box.nearest.reshape(3, -1)[:, places]
    if not any(field.strides):
        return np.full(nearest.shape[1], field[0, 0, 0])
    home = (np.clip(at + f, 0, n - 1) for at, f, n in zip(nearest, fitted.box.first, grid.shape, strict=True))
    return field[tuple(home)]


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

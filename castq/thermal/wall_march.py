"""Sets up the march of the wall solver: cells, stable time step, and the sharing of the runs between threads."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castq.materials.types import Alloy, DieMaterial
from castq.thermal import wall_kernel as kernel
from castq.thermal.heat_table import HeatTable, heat_table, temperature_at_fraction

Array = NDArray[np.float64]

SKIN_LEAVES_AT_FS = 0.5
DIE_CELLS = 20
# Share of the longest stable step; the rest covers round-off.
STEP_SHARE = 0.95
MOST_STEPS = 400_000
RUNS_A_CHUNK = 32


@dataclass(frozen=True, slots=True, eq=False)
class Runs:
    """The runs' inputs, each an array (runs,), in the units of their names."""

    wall_mm: Array
    melt_temp_c: Array
    die_temp_c: Array
    contact_w_m2k: Array
    gap_w_m2k: Array
    die_wall_mm: Array
    latent_heat_factor: Array
    conductivity_factor: Array
    outer_w_m2k: Array
    outer_temp_c: Array


def march_runs(runs: Runs, alloy: Alloy, die: DieMaterial, cells: NDArray[np.int64], watched: int = 0) -> Array:
    """Return the kernel's result (runs, columns) with given cells in the half wall, for the watched cell."""
    table = heat_table(alloy, runs.latent_heat_factor, runs.conductivity_factor)
    cell_m = 0.5e-3 * runs.wall_mm / cells
    die_cell_m = _die_cells(runs.die_wall_mm * 1e-3, cell_m, table, die)
    capacity = die.density_kg_m3 * die.cp_j_kgk * die_cell_m
    half = 0.5 * die_cell_m / die.k_w_mk
    outer = 1.0 / (half[:, -1:] + 1.0 / runs.outer_w_m2k[:, None])
    conductance = np.hstack([1.0 / (half[:, :-1] + half[:, 1:]), outer])
    best_k = max(alloy.k_solid_w_mk, alloy.k_liquid_w_mk) * runs.conductivity_factor
    best_film = np.maximum(runs.contact_w_m2k, runs.gap_w_m2k)
    interface = 1.0 / (0.5 * cell_m / best_k + 1.0 / best_film + half[:, 0])
    numbers = np.empty((cells.size, kernel.NUMBERS))
    numbers[:, kernel.CELL_M] = cell_m
    numbers[:, kernel.STEP_S] = STEP_SHARE * _stable_step(table, cell_m, capacity, conductance, interface)
    numbers[:, kernel.CONTACT] = runs.contact_w_m2k
    numbers[:, kernel.GAP] = runs.gap_w_m2k
    numbers[:, kernel.SWITCH_C] = temperature_at_fraction(alloy, SKIN_LEAVES_AT_FS)
    numbers[:, kernel.START] = table.start_j_m3(runs.melt_temp_c)
    numbers[:, kernel.MELT] = table.liquidus_j_m3
    numbers[:, kernel.MELT_POTENTIAL] = table.liquidus_w_m
    numbers[:, kernel.DIE_START_C] = runs.die_temp_c
    numbers[:, kernel.DIE_HALF_CELL] = half[:, 0]
    numbers[:, kernel.OUTER_C] = runs.outer_temp_c
    # The mid-plane of a parabola through the means of the two middle cells.
    numbers[:, kernel.LIFT] = 1.0 / 6.0 if watched == 0 else 0.0
    heat = (table.bounds_j_m3, table.lines, table.marks_j_m3)
    return _march_in_threads(kernel.State(cells, np.full_like(cells, watched), numbers, *heat, capacity, conductance))


def _march_in_threads(state: kernel.State) -> Array:
    """Share the runs between threads; no result depends on how, and the kernel holds no lock while it works."""
    runs = state.cells.size
    out = np.full((runs, kernel.RESULTS), np.nan)
    chunks = [np.arange(i, min(i + RUNS_A_CHUNK, runs)) for i in range(0, runs, RUNS_A_CHUNK)]
    with ThreadPoolExecutor(max_workers=max(1, min(len(chunks), os.cpu_count() or 1))) as pool:
        list(pool.map(lambda chunk: kernel.march(chunk, state, MOST_STEPS, out), chunks))
    return out


def half_wall_cells(wall_mm: Array) -> NDArray[np.int64]:
    """Return the number of cells in the half wall: few in a thin wall, whose temperature is nearly even."""
    return np.maximum(np.ceil(1.5 * np.sqrt(wall_mm)), 4).astype(np.int64)


def _die_cells(die_wall_m: Array, cell_m: Array, table: HeatTable, die: DieMaterial) -> Array:
    """Return die cell sizes (runs, cells) [m]: the first as stable as the casting's, growing steadily to the back."""
    metal = table.lines[:, :, 1].max(axis=1)
    steel = die.k_w_mk / (die.density_kg_m3 * die.cp_j_kgk)
    first = np.minimum(cell_m * np.sqrt(1.5 * steel / metal), die_wall_m / DIE_CELLS)
    low, high = np.ones_like(first), np.full_like(first, 4.0)
    powers = np.arange(DIE_CELLS)
    for _ in range(50):
        middle = 0.5 * (low + high)
        short = first * np.sum(middle[:, None] ** powers, axis=1) < die_wall_m
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    sizes = low[:, None] ** powers
    return np.asarray(sizes * (die_wall_m / sizes.sum(axis=1))[:, None])


def _stable_step(table: HeatTable, cell_m: Array, capacity: Array, conductance: Array, interface: Array) -> Array:
    """Return the longest time step [s] that keeps every cell between its neighbours."""
    spread = table.lines[:, :, 1].max(axis=1) / cell_m**2
    skin = spread + interface * table.lines[:, :, 3].max(axis=1) / cell_m
    faces = np.hstack([interface[:, None], conductance])
    die = ((faces[:, :-1] + faces[:, 1:]) / capacity).max(axis=1)
    return np.asarray(1.0 / np.maximum(np.maximum(2.0 * spread, skin), die))

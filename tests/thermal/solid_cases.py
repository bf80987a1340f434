"""What the march of the solid solver gives for problems with a closed form, on a grid of one's choice."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from unittest import mock

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

from castq import materials
from castq.materials.types import Alloy, DieMaterial
from castq.thermal.heat_table import temperature_at_fraction
from castq.thermal.solid import freeze_solid
from castq.thermal.solid_bodies import Casting
from castq.thermal.solid_grid import Links
from castq.thermal.solid_kernel import COHERENCY, CUTOFF, LIQUIDUS, SOLID
from castq.thermal.solid_march import march
from castq.thermal.solid_notes import Notes
from castq.thermal.solid_problem import March, Pace, Problem
from tests.thermal.solid_shapes import grid_of, mesh_of
from tests.thermal.test_solid_march import EXACT, bar, pure_metal

Array = NDArray[np.float64]

A356 = materials.alloy("A356")
H13 = materials.die_material("H13")
# Conductivity [W/mK] and heat capacity [J/m3K], and start [degC].
MOULDS: dict[str, tuple[tuple[float, float], float]] = {
    "H13": ((27.0, 7700.0 * 560.0), 350.0),
    "grey iron": ((42.0, 7100.0 * 560.0), 350.0),
    "CuBe": ((120.0, 8250.0 * 440.0), 250.0),
    "sand": ((0.61, 1500.0 * 1130.0), 25.0),
}
STEEL = MOULDS["H13"][0]
AT_FREEZING = pure_metal(577.0, 430.0, (150.0, 1100.0), (150.0, 1100.0))
A356_LIKE = replace(pure_metal(577.0, 430.0, (150.0, 1100.0), (65.0, 1150.0)), density_kg_m3=2500.0)
# Data of a public verification case of a finite-element code for the two-phase problem.
FE_CASE = replace(pure_metal(660.0, 432.192, (210.0, 1200.0), (95.0, 1032.0)), density_kg_m3=2500.0)


def middles_mm(result: March, cell_mm: float) -> Array:
    """Return how deep below the die the middles of the casting's cells lie [mm]."""
    return np.asarray(cell_mm * (np.arange(result.times_s.shape[1])[::-1] + 0.5))


def frozen_depth_s(result: March, cell_mm: float, within_mm: tuple[float, float], depth_mm: float) -> float:
    """Return when a depth is frozen, from all middles in a range: time over square of depth is a constant there [s]."""
    depth = middles_mm(result, cell_mm)
    taken = (depth > within_mm[0]) & (depth < within_mm[1])
    return float(np.mean(result.times_s[SOLID][taken] / depth[taken] ** 2) * depth_mm**2)


def stefan_bar(metal: Alloy, melt_c: float, bath_c: float, cell_mm: float, seconds: float) -> March:
    """Freeze the end of a thick bar whose face is held at a temperature."""
    return march(bar(metal, melt_c, bath_c, cell_mm, (round(90.0 / cell_mm), 2)), EXACT, until_s=seconds)


def mould_bar(mould: str, cell_mm: float, seconds: float, mould_mm: float = 60.0) -> March:
    """Freeze metal at its freezing temperature against a thick mould in perfect contact."""
    (k, heat), start_c = MOULDS[mould]
    problem = bar(AT_FREEZING, 577.0001, start_c, cell_mm, (round(9.0 / cell_mm), round(mould_mm / cell_mm)),
                  die_k_w_mk=k, die_j_m3k=heat)  # fmt: skip
    return march(problem, EXACT, until_s=seconds)


def without_links(problem: Problem) -> Problem:
    """Return the problem with casting and die apart."""
    none = np.empty(0, dtype=int)
    links = Links(none, none, np.empty(0), np.empty(0), np.empty(0), none)
    return replace(problem, links=links, contact_w_m2k=np.empty(0), gap_w_m2k=np.empty(0))


def heated_half_space(cell_mm: float, film_w_m2k: float, seconds: float, long_mm: float = 120.0) -> tuple[Array, Array]:
    """Return depth [mm] and temperature [degC] of a long steel bar at 350 degC with fluid of 600 degC on one end."""
    count = round(long_mm / cell_mm)
    problem = bar(A356, 690.0, 350.0, cell_mm, (2, count), die_k_w_mk=STEEL[0], die_j_m3k=STEEL[1])
    last = np.flatnonzero(problem.die.volume)[-1:]
    problem = without_links(replace(problem, outer=(last, np.ones(1)), outer_w_m2k=film_w_m2k, outer_temp_c=600.0))
    step = 2e-3 * cell_mm**2 * seconds
    result = march(problem, Pace(longest_s=step, shortest_s=step, single=False), until_s=seconds)
    return cell_mm * (np.arange(count)[::-1] + 0.5), 350.0 + result.die_rise_k


def slab_time_s(biot: float, left: float, cells: int, half_cell: float = 0.5) -> float:
    """Return when the middle of a slab of 40 mm with a film has a share of its first excess left [s]."""
    metal = pure_metal(300.0 + 400.0 * left, 1e-6, (100.0, 1000.0), (100.0, 1000.0))
    film = np.array([100.0 * biot / 0.02])
    problem = bar(metal, 700.0, 300.0, 20.0 / cells, (cells, 2), contact_w_m2k=film, gap_w_m2k=film)
    links = replace(problem.links, casting_half=np.array([half_cell]))
    pace = Pace(0.02 / min(biot, 1.0), 0.002, 0.01, single=False)
    return float(march(replace(problem, links=links), pace, until_s=400.0).times_s[SOLID][0])


BALL_MM = 24.0
# Takes any heat without warming, and conducts heat no faster than steel does.
BATH_DIE = DieMaterial("bath", (), 1e5, 1e5, 1e5, {})


def ball_time_s(biot: float, left: float, cell_mm: float) -> float:
    """Return when the middle of a ball has a share of its first excess left [s]."""
    metal = pure_metal(300.0 + 400.0 * left, 1e-6, (100.0, 1000.0), (100.0, 1000.0))
    film = 100.0 * biot / (1e-3 * BALL_MM)
    mesh = mesh_of(m3.Manifold.sphere(BALL_MM, 128))
    grid = grid_of(mesh, cell_mm, 0.3)
    times = freeze_solid(
        grid, surface=mesh, alloy=metal, die=BATH_DIE, melt_temp_c=700.0, die_temp_c=300.0, contact_w_m2k=film,
        gap_w_m2k=film, die_wall_mm=2.0 * cell_mm, outer_temp_c=300.0, gradient_fs=0.95,
        pace=Pace(0.02, 0.002, 0.01, single=False),
    )  # fmt: skip
    x, y, z = np.meshgrid(*grid.centres_mm, indexing="ij")
    radius = np.sqrt(x**2 + y**2 + z**2)
    near = grid.solid & (radius < 6.0)
    fit = np.polyfit(radius[near] ** 2, times.solid_s[near], 1)
    return float(fit[1])


def lumped_times_s() -> Array:
    """Return when one cell of 5 mm passes 615, 555 and 500 degC behind 1500 W/m2K to 350 degC [s]."""
    metal = replace(
        A356, liquidus_c=615.0, end_of_freezing_c=555.0, latent_heat_kj_kg=430.0, density_kg_m3=2400.0,
        k_solid_w_mk=1e7, k_liquid_w_mk=1e7, cp_solid_j_kgk=1100.0, cp_liquid_j_kgk=1150.0,
        fraction_solid_temp_c=np.array([615.0, 555.0]), fraction_solid=np.array([0.0, 1.0]),
    )  # fmt: skip
    film = np.array([1500.0])
    problem = bar(metal, 700.0, 350.0, 5.0, (1, 2), contact_w_m2k=film, gap_w_m2k=film)
    cold = -2400.0 * 1100.0 * 55.0
    marks = np.array([problem.marks_j_m3[0], 0.0, 0.0, 0.0, cold])
    problem = replace(problem, marks_j_m3=marks, mark_c=np.array([615.0, 555.0, 555.0, 555.0, 500.0]))
    times = march(problem, Pace(0.02, 0.002, 0.01, single=False)).times_s[:, 0]
    return np.asarray(times[[LIQUIDUS, CUTOFF, SOLID]], dtype=float)


# End and start of the clock of the separate wall solution [degC].
CLOCK_C = (558.0, 615.3)


def heat_at(temp_c: float) -> float:
    """Return the enthalpy of A356 at a temperature of its freezing range [J/m3], by its own fraction solid."""
    temp, solid = A356.fraction_solid_temp_c[::-1], A356.fraction_solid[::-1]
    below = np.linspace(A356.end_of_freezing_c, temp_c, 2001)
    fs = np.interp(below, np.append(temp, A356.liquidus_c), np.append(solid, 0.0))
    cp = A356.cp_liquid_j_kgk + (A356.cp_solid_j_kgk - A356.cp_liquid_j_kgk) * fs
    sensible = float(np.trapezoid(cp, below))
    return float(A356.density_kg_m3 * (sensible + 1e3 * A356.latent_heat_kj_kg * (1.0 - fs[-1])))


def wall_problem(wall_mm: float, contact: float, gap: float, cells: int) -> Problem:
    """Return half a wall of A356, one row of cubic cells, in 40 mm of H13 at 350 degC."""
    cell_mm = 0.5 * wall_mm / cells
    films: dict[str, Any] = {"contact_w_m2k": np.array([float(contact)]), "gap_w_m2k": np.array([float(gap)])}
    problem = bar(A356, 690.0, 350.0, cell_mm, (cells, round(40.0 / cell_mm)), die_k_w_mk=H13.k_w_mk,
                  die_j_m3k=H13.density_kg_m3 * H13.cp_j_kgk, **films)  # fmt: skip
    back = np.flatnonzero(problem.die.volume)[-1:]
    mark_c = problem.mark_c.copy()
    mark_c[1:4] = [temperature_at_fraction(A356, fs) for fs in (A356.coherency_fs, A356.cutoff_fs, A356.cutoff_fs)]
    return replace(problem, outer=(back, np.ones(1)), outer_w_m2k=200.0, outer_temp_c=100.0, mark_c=mark_c,
                   switch_c=temperature_at_fraction(A356, 0.5))  # fmt: skip


def wall_events_s(wall_mm: float, contact: float, gap: float, cells: int) -> Array:
    """Return coherency, feeding cut-off, end of freezing and local solidification time in the middle [s]."""
    times = march(wall_problem(wall_mm, contact, gap, cells), Pace(single=False)).times_s[:, 0].astype(float)
    return np.array([times[COHERENCY], times[CUTOFF], times[SOLID], times[SOLID] - times[LIQUIDUS]])


def wall_bar(wall_mm: float, contact: float, gap: float, cells: int) -> Array:
    """Return pouring to solid and local solidification time, to 558 degC, of half a wall in 40 mm of H13 [s].

    The clock reads the enthalpy of the middle cell after each step.
    """
    history = []
    take = Notes.take

    def noted(notes: Notes, casting: Casting, start_s: float, tau_s: float) -> None:
        take(notes, casting, start_s, tau_s)
        history.append((start_s + tau_s, *casting.h[notes.place[:2]].astype(float)))

    with mock.patch.object(Notes, "take", noted):
        march(wall_problem(wall_mm, contact, gap, cells), Pace(single=False))
    times, middle, next_to_it = np.array(history).T
    middle = middle + (middle - next_to_it) / 8.0
    stop, start = (float(np.interp(-heat_at(temp_c), -middle, times)) for temp_c in CLOCK_C)
    return np.array([stop, stop - start])

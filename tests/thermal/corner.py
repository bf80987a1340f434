"""A casting corner in a die, all constants plain: the problem that castq and general-purpose libraries solve alike.

A cube of 120 mm, insulated all round, holds the casting in one corner of 40 mm. Cells are whole; between two of them
lie two half cells, and between casting and die the film as well. Everyone solves this same set of equations, so that
what differs is the march in time.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from functools import cached_property
from unittest import mock

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import RK23
from scipy.sparse import csr_array, diags_array

from castq import materials
from castq.thermal import solid_march
from castq.thermal.heat_table import heat_table
from castq.thermal.solid_bodies import Casting
from castq.thermal.solid_grid import Links, whole_cells
from castq.thermal.solid_kernel import EVENTS
from castq.thermal.solid_notes import Notes
from castq.thermal.solid_problem import Pace, Problem

Array = NDArray[np.float64]

SIDE_M, CORNER_SHARE = 0.120, 3
CASTING_K, DIE_K, FILM_W_M2K = 120.0, 27.0, 2000.0
DENSITY, CASTING_CP, LATENT_J_KG = 2500.0, 1100.0, 400e3
CASTING_J_M3K, DIE_J_M3K = DENSITY * CASTING_CP, 4.62e6
SOLIDUS_C, LIQUIDUS_C, MELT_C, DIE_C = 555.0, 614.0, 700.0, 350.0
END_S = 60.0
# Enthalpy of the casting over its temperature, zero at the solidus, and the widest straight pieces around it.
KNOT_C = np.array([-2000.0, SOLIDUS_C, LIQUIDUS_C, 4000.0])
_MUSHY = CASTING_J_M3K * (LIQUIDUS_C - SOLIDUS_C) + DENSITY * LATENT_J_KG
KNOT_J_M3 = np.array([
    CASTING_J_M3K * (KNOT_C[0] - SOLIDUS_C), 0.0, _MUSHY, _MUSHY + CASTING_J_M3K * (KNOT_C[3] - LIQUIDUS_C),
])  # fmt: skip
PIECE_J_M3K = np.diff(KNOT_J_M3) / np.diff(KNOT_C)


@dataclass(frozen=True, eq=False)
class Run:
    """What a solver leaves behind.

    Temperatures of the casting's cells at the end [degC]; time at which each has frozen [s], NaN where it has not; heat
    lost from sight, as a share of what the casting gave [-]; seconds of the loop by the clock and by the processor, and
    of the set-up.
    """

    name: str
    casting_c: Array
    frozen_s: Array
    residual: float
    loop_s: float
    cpu_s: float
    setup_s: float
    words: str = ""


@dataclass(frozen=True)
class Corner:
    """The problem on cells x cells x cells."""

    cells: int
    end_s: float = END_S

    @property
    def dx(self) -> float:
        return SIDE_M / self.cells

    @cached_property
    def casting(self) -> NDArray[np.bool_]:
        """Cells of the casting, array (cells, cells, cells)."""
        assert self.cells % CORNER_SHARE == 0, "the corner is a third of the side"
        mask = np.zeros((self.cells,) * 3, dtype=bool)
        mask[(slice(self.cells // CORNER_SHARE),) * 3] = True
        return mask

    def film(self) -> float:
        """Conductance of a face between casting and die, two half cells and the film [W/m2K]."""
        return 1.0 / (0.5 * self.dx / CASTING_K + 1.0 / FILM_W_M2K + 0.5 * self.dx / DIE_K)

    def between(self, here: NDArray[np.bool_], there: NDArray[np.bool_]) -> Array:
        """Conductance of faces by whether the cells beside them are casting [W/m2K]."""
        same = np.where(here, CASTING_K, DIE_K) / self.dx
        return np.where(here == there, same, self.film())

    @cached_property
    def rates(self) -> csr_array:
        """Matrix that turns temperatures [degC] into gains of enthalpy [J/m3 s] of cells in the order of `ravel`."""
        number = np.arange(self.cells**3).reshape(self.casting.shape)
        rows, columns, values = [], [], []
        for axis in range(3):
            ahead, behind = (np.moveaxis(number, axis, 0)[part] for part in (slice(1, None), slice(-1)))
            flat = self.casting.reshape(-1)
            g = self.between(flat[ahead], flat[behind]).reshape(-1) / self.dx
            for a, b in ((ahead, behind), (behind, ahead)):
                rows.append(a.reshape(-1))
                columns.append(b.reshape(-1))
                values.append(g)
        size = number.size
        found = csr_array((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), (size, size))
        return csr_array(found - diags_array(found.sum(axis=1)))

    def start(self) -> tuple[Array, Array]:
        """Return temperature [degC] and enthalpy [J/m3] of all cells at the start."""
        temp = np.where(self.casting.reshape(-1), MELT_C, DIE_C)
        return temp, self.enthalpy(temp)

    def enthalpy(self, temp: Array) -> Array:
        """Return the enthalpy of cells [J/m3]; the die's is zero at its start."""
        return np.where(self.casting.reshape(-1), np.interp(temp, KNOT_C, KNOT_J_M3), DIE_J_M3K * (temp - DIE_C))

    def temperature(self, h: Array) -> Array:
        """Return the temperature of cells [degC]."""
        return np.where(self.casting.reshape(-1), np.interp(h, KNOT_J_M3, KNOT_C), DIE_C + h / DIE_J_M3K)

    def capacity(self, temp: Array) -> Array:
        """Return the slope of enthalpy over temperature [J/m3K]."""
        piece = np.clip(np.searchsorted(KNOT_C, temp, side="right") - 1, 0, 2)
        return np.where(self.casting.reshape(-1), PIECE_J_M3K[piece], DIE_J_M3K)

    def residual(self, h: Array) -> float:
        """Return heat lost from sight as a share of what the casting gave [-]."""
        gained = h - self.start()[1]
        inside = self.casting.reshape(-1)
        return float(gained.sum() / -gained[inside].sum())


class Watch:
    """Seconds since it was made."""

    def __init__(self) -> None:
        self.wall, self.cpu = time.perf_counter(), time.process_time()

    def read(self) -> tuple[float, float]:
        """Return seconds by the clock and by the processor, all threads."""
        return time.perf_counter() - self.wall, time.process_time() - self.cpu


class Clock:
    """When each casting cell passes the end of freezing, straight lines between the steps."""

    def __init__(self, corner: Corner) -> None:
        self.inside = corner.casting.reshape(-1)
        self.last = corner.start()[1][self.inside]
        self.frozen_s = np.full(self.last.size, np.nan)

    def note(self, h: Array, start_s: float, tau_s: float) -> None:
        self.note_casting(h[self.inside], start_s, tau_s)

    def note_casting(self, now: Array, start_s: float, tau_s: float) -> None:
        passed = (self.last > 0.0) & (now <= 0.0)
        share = self.last[passed] / (self.last[passed] - now[passed])
        self.frozen_s[passed] = start_s + tau_s * share
        self.last = now


def solve_explicit(corner: Corner) -> Run:
    """Shortest steps in float64: the reference."""
    began = time.perf_counter()
    rates, (_, h), clock = corner.rates, corner.start(), Clock(corner)
    steps = int(np.ceil(corner.end_s / (0.9 * corner.dx**2 * CASTING_J_M3K / (6.0 * CASTING_K))))
    tau, ready = corner.end_s / steps, Watch()
    for step in range(steps):
        h = h + tau * (rates @ corner.temperature(h))
        clock.note(h, step * tau, tau)
    loop_s, cpu_s = ready.read()
    temp = corner.temperature(h)[clock.inside]
    return Run("explicit, numpy and scipy.sparse, float64", temp, clock.frozen_s, corner.residual(h), loop_s, cpu_s,
               ready.wall - began, f"{steps} steps")  # fmt: skip


def problem_of(corner: Corner) -> Problem:
    """Return the problem as castq's march takes it: whole cells, one link a face."""
    casting = np.pad(corner.casting, 2)
    die = np.pad(~corner.casting, 2)
    number = np.arange(casting.size).reshape(casting.shape)
    sides: list[tuple[NDArray[np.int64], NDArray[np.int64]]] = []
    for axis in range(3):
        pair = casting & np.roll(die, -1, axis)
        sides.append((number[pair], np.roll(number, -1, axis)[pair]))
    here, there = (np.concatenate([side[way] for side in sides]) for way in (0, 1))
    count = here.size
    links = Links(here, there, np.ones(count), np.full(count, 0.5), np.full(count, 0.5), np.zeros(count, dtype=int))
    alloy = replace(
        materials.alloy("A356"), liquidus_c=LIQUIDUS_C, end_of_freezing_c=SOLIDUS_C,
        latent_heat_kj_kg=LATENT_J_KG / 1e3, density_kg_m3=DENSITY, k_solid_w_mk=CASTING_K, k_liquid_w_mk=CASTING_K,
        cp_solid_j_kgk=CASTING_CP, cp_liquid_j_kgk=CASTING_CP, fraction_solid=np.array([0.0, 1.0]),
        fraction_solid_temp_c=np.array([LIQUIDUS_C, SOLIDUS_C]),
    )  # fmt: skip
    table = heat_table(alloy, np.ones(1), np.ones(1))
    marks = np.array([table.liquidus_j_m3[0], *table.marks_j_m3[0, :2], table.marks_j_m3[0, 1], 0.0])
    film, none = np.full(count, FILM_W_M2K), np.empty(0, dtype=int)
    return Problem(
        casting=whole_cells(casting), die=whole_cells(die), links=links, spacing_m=corner.dx, table=table,
        marks_j_m3=marks, mark_c=np.array([LIQUIDUS_C] + [SOLIDUS_C] * (EVENTS - 1)),
        start_j_m3=float(table.start_j_m3(np.array([MELT_C]))[0]), switch_c=-1000.0, contact_w_m2k=film,
        gap_w_m2k=film, die_k_w_mk=DIE_K, die_j_m3k=DIE_J_M3K, die_temp_c=np.full(casting.size, DIE_C),
        outer=(none, np.empty(0)), outer_w_m2k=1.0, outer_temp_c=DIE_C,
    )  # fmt: skip


def mean_frozen_s(corner: Corner, problem: Problem, pace: Pace | None) -> Array:
    """Return when the mean of each casting cell passes the end of freezing in castq's march [s].

    What castq notes itself is the time at which the middle of a cell passes; the other solvers know means only.
    """
    clock = Clock(corner)

    class Means(Notes):
        def take(self, casting: Casting, start_s: float, tau_s: float) -> None:
            clock.note_casting(casting.h[casting.place].astype(float), start_s, tau_s)
            super().take(casting, start_s, tau_s)

    with mock.patch.object(solid_march, "Notes", Means):
        solid_march.march(problem, pace, until_s=corner.end_s)
    return clock.frozen_s


def solve_castq(corner: Corner, pace: Pace | None = None, name: str = "castq", *, repeats: int = 1) -> Run:
    """castq's own march, the fastest of some repeats."""
    began = time.perf_counter()
    problem = problem_of(corner)
    setup_s, loops = time.perf_counter() - began, []
    for _ in range(repeats):
        ready = Watch()
        result = solid_march.march(problem, pace, until_s=corner.end_s)
        loops.append(ready.read())
    temp = np.interp(result.enthalpy_j_m3, KNOT_J_M3, KNOT_C)
    words = f"{result.steps} steps, re-heat {result.reheat_k:.2f} K"
    return Run(name, temp, mean_frozen_s(corner, problem, pace), result.residual, *min(loops), setup_s, words)


def solve_rk23(corner: Corner, rtol: float = 1e-5) -> Run:
    """scipy's explicit Runge-Kutta pair with step control."""
    began = time.perf_counter()
    rates, (_, h), clock = corner.rates, corner.start(), Clock(corner)
    ready = Watch()
    solver = RK23(lambda _, y: rates @ corner.temperature(y), 0.0, h, corner.end_s, rtol=rtol, atol=1e4)
    while solver.status == "running":
        solver.step()
        clock.note(solver.y, solver.t_old, solver.step_size)
    loop_s, cpu_s = ready.read()
    return Run(f"scipy RK23, rtol {rtol:g}", corner.temperature(solver.y)[clock.inside], clock.frozen_s,
               corner.residual(solver.y), loop_s, cpu_s, ready.wall - began, f"{solver.nfev} evaluations")  # fmt: skip


def off(run: Run, reference: Run) -> tuple[float, float, float]:
    """Return rms and largest difference of temperature [K] and mean error of the time of freezing [-]."""
    apart = run.casting_c - reference.casting_c
    both = np.isfinite(run.frozen_s) & np.isfinite(reference.frozen_s)
    late = np.abs(run.frozen_s[both] / reference.frozen_s[both] - 1.0)
    return float(np.sqrt(np.mean(apart**2))), float(np.abs(apart).max()), float(late.mean())

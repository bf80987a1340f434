"""The production cycle: against the exact periodic state of a bar, natural cycling, and its own heat balance."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any

import manifold3d as m3
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.sparse import diags_array
from scipy.sparse.linalg import LinearOperator, expm_multiply, gmres, spsolve

from castq.core.errors import InputError
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import Grid, voxelise
from castq.thermal.cycle import CycleResult, steady_cycle
from castq.thermal.die_growth import Sector
from castq.thermal.fixed_point import fixed_point
from castq.thermal.shots import METAL, Shots, empty_die, warm_up
from castq.thermal.solid import solve
from castq.thermal.solid_build import build
from castq.thermal.solid_problem import Bath, Pace, Problem
from castq.thermal.tool import Cycle, ToolParts
from tests.thermal.solid_shapes import A356, CONTACT, GAP, H13, MELT_C, mesh_of
from tests.thermal.test_solid_march import bar

Array = NDArray[np.float64]

CELLS, CELL_M, K, HEAT = 20, 0.002, 27.0, 4.3e6
# Heat pulse, rest, spray, rest: from, to [s], coefficient [W/m2K], temperature [degC].
PULSE, SPRAY, REST, LENGTH_S = (0.0, 15.0, 3000.0, 600.0), (20.0, 30.0, 500.0, 60.0), (200.0, 100.0), 50.0


def heated_bar() -> Problem:
    """Return a bar of die alone, heated and sprayed at one end and in air at the other."""
    problem = bar(A356, 690.0, 300.0, 1e3 * CELL_M, (2, CELLS), die_k_w_mk=K, die_j_m3k=HEAT)
    place = problem.die.active
    near, far = place[:1], place[-1:]
    one = np.ones(1)
    baths = tuple(Bath(name, near, one, 0.5 * one, film, temp, ((start, end),))
                  for name, (start, end, film, temp) in (("pulse", PULSE), ("spray", SPRAY)))  # fmt: skip
    return replace(problem, baths=baths, outer=(far, one), outer_w_m2k=REST[0], outer_temp_c=REST[1])


def exact_turn(temp: Array) -> Array:
    """Return the bar one cycle later, by matrix exponentials of an assembly of its own."""
    between = K / (HEAT * CELL_M**2)
    ends = [0.0, PULSE[1], SPRAY[0], SPRAY[1], LENGTH_S]
    for start, end in pairwise(ends):
        film = next((f for a, b, *f in (PULSE, SPRAY) if a <= start < b), None)
        rate, source = np.zeros(CELLS), np.zeros(CELLS)
        for cell, state in ((0, film), (CELLS - 1, REST)):
            if state is not None:
                rate[cell] = 1.0 / ((1.0 / state[0] + 0.5 * CELL_M / K) * HEAT * CELL_M)
                source[cell] = rate[cell] * state[1]
        middle = -between * np.r_[1.0, np.full(CELLS - 2, 2.0), 1.0] - rate
        side = np.full(CELLS - 1, between)
        matrix = diags_array([side, middle, side], offsets=[-1, 0, 1], format="csc")
        rest = -spsolve(matrix, source)
        temp = rest + expm_multiply(matrix * (end - start), temp - rest)
    return temp


def exact_steady() -> Array:
    """Return the bar that a cycle leaves as it is, by a linear solve."""
    constant = exact_turn(np.zeros(CELLS))
    operator = LinearOperator((CELLS, CELLS), lambda x: x - (exact_turn(np.ravel(x)) - constant), dtype=float)
    steady, failed = gmres(operator, constant, rtol=1e-10)
    assert failed == 0 and np.abs(exact_turn(steady) - steady).max() < 1e-4
    return steady


def test_heated_bar_settles_to_its_exact_periodic_state() -> None:
    problem, exact = heated_bar(), exact_steady()
    assert np.ptp(exact) > 30.0

    def turn(temp: Array) -> Array:
        return empty_die(problem, temp, 0.0, LENGTH_S, Pace(0.2, 0.01, 0.02, single=False))[0]

    found = fixed_point(turn, np.full(CELLS, 300.0), bounds=(0.0, 700.0), tolerance=0.02)
    assert found.found and found.turns < 10
    np.testing.assert_allclose(found.state, exact, rtol=0.0, atol=0.2)


def test_heat_of_an_empty_die_is_kept() -> None:
    problem = heated_bar()
    after, heat = empty_die(problem, np.full(CELLS, 300.0), 0.0, LENGTH_S, Pace(1.0, 0.05, 0.05, single=False))
    stored = HEAT * CELL_M**3 * (after - 300.0).sum()
    assert heat["pulse"] < 0.0 < heat["spray"]
    assert stored + sum(heat.values()) == pytest.approx(0.0, abs=1e-9 * abs(heat["pulse"]))


def test_fixed_point_of_a_slow_map_takes_few_turns() -> None:
    slow, goal = np.array([0.93, 0.8, 0.5, 0.2, 0.1]), np.array([10.0, -5.0, 30.0, 1.0, 2.0])

    def turn(state: Array) -> Array:
        return goal + slow * (state - goal)

    found = fixed_point(turn, np.zeros(5), bounds=(-100.0, 100.0), tolerance=1e-3)
    assert found.found and found.turns <= 20
    np.testing.assert_allclose(found.state, goal, atol=5e-3)
    state, turns = np.zeros(5), 0
    while np.abs(state - goal).max() > 1e-3:
        state, turns = turn(state), turns + 1
    assert turns > 100
    again = fixed_point(turn, np.ones(5), bounds=(-100.0, 100.0), tolerance=1e-3, steps=found.steps)
    assert again.turns < found.turns


def test_fixed_point_is_clipped_and_falls_back_when_its_memory_misleads() -> None:
    def turn(state: Array) -> Array:
        asked.append(state.copy())
        return 1.0 + 0.5 * (state - 1.0)

    asked: list[Array] = []
    wrong = ((np.ones(2), np.full(2, 0.02)),)
    found = fixed_point(turn, np.zeros(2), bounds=(-3.0, 3.0), tolerance=1e-6, steps=wrong)
    assert np.abs(asked).max() == 3.0
    assert found.found
    np.testing.assert_allclose(found.state, 1.0, atol=1e-5)
    assert not fixed_point(lambda x: x + 1.0, np.zeros(2), bounds=(0.0, 5.0), tolerance=0.1, most=4).found


CYCLE = Cycle(fill_s=5.0, hold_s=40.0, freeze_s=105.0, open_s=25.0, spray_s=5.0, close_s=20.0)
TOOL: dict[str, Any] = {
    "alloy": A356, "die": H13, "melt_temp_c": MELT_C, "die_temp_c": 200.0, "contact_w_m2k": CONTACT, "gap_w_m2k": GAP,
    "die_wall_mm": 36.0, "outer_w_m2k": 150.0, "outer_temp_c": 60.0, "sector": Sector(0.0, np.pi / 4.0),
}  # fmt: skip


@cache
def dish() -> tuple[Mesh, Grid]:
    """Return a hub, a disc and a rim, and their voxels."""
    rim = m3.Manifold.cylinder(60.0, 90.0, 90.0, 128, True) - m3.Manifold.cylinder(70.0, 76.0, 76.0, 128, True)
    disc = m3.Manifold.cylinder(14.0, 80.0, 80.0, 128, True) + m3.Manifold.cylinder(26.0, 24.0, 24.0, 96, True)
    mesh = mesh_of(rim + disc)
    return mesh, voxelise(mesh, 6.0)


@cache
def steady(coarser: float = 1.0, **over: float) -> CycleResult:
    mesh, grid = dish()
    parts = ToolParts(cycle=replace(CYCLE, **over))
    return steady_cycle(grid, surface=mesh, parts=parts, coarser=coarser, **TOOL)


def test_acceleration_finds_where_natural_cycling_ends() -> None:
    fast, alone = steady(2.0), steady()
    assert fast.converged and alone.converged and fast.residual_k <= 1.0
    assert alone.coarse_cycles == 0 < fast.coarse_cycles
    assert fast.cycles < alone.cycles < alone.natural_cycles
    shots = Shots(alone.built.problem, CYCLE, Pace(2.0, 0.05, 0.05))
    die_c = alone.built.problem.die_temp_c[alone.built.problem.die.active]
    for _ in range(2 * alone.natural_cycles):
        die_c = shots.turn(die_c)
    for found in (fast, alone):
        assert np.abs(found.die_c - die_c).max() < 1.0


def test_heat_of_a_steady_cycle_balances() -> None:
    found = steady()
    assert abs(found.heat_residual) < 0.005
    assert found.heat_j[METAL] > 0.0
    assert sum(found.heat_j.values()) == pytest.approx(2.0 * found.heat_j[METAL], rel=0.005)
    assert {"outer faces", "spray"} < set(found.heat_j)


def test_warm_up_rises_to_the_steady_surface() -> None:
    found = steady()
    curve = found.warm_up_c
    assert len(curve) == found.natural_cycles + 1
    assert curve[0] == pytest.approx(200.0, abs=0.01)
    assert np.all(np.diff(curve) > 0.0)
    assert curve[-1] == pytest.approx(found.mean_surface_c, abs=1.0)
    touching = np.isfinite(found.surface_c)
    assert touching.any() and np.all((found.surface_c[touching] > 100.0) & (found.surface_c[touching] < 500.0))


def test_shot_from_the_steady_die_takes_as_long_as_the_cycle_says() -> None:
    found = steady()
    times = solve(found.built, found.die_c).times_s[-1]
    assert float(times.max()) == pytest.approx(found.solid_s, rel=0.02)
    assert found.solid_s < CYCLE.closed_s and found.opens_solid
    assert found.notes == ()
    assert found.length_s == 200.0


def test_die_that_opens_too_early_is_told() -> None:
    found = steady(freeze_s=60.0)
    assert 105.0 < found.solid_s < 300.0 and not found.opens_solid
    late = f"the die opens {found.solid_s - 105.0:.0f} s before the casting is solid: danger of hot tearing"
    assert any(note.startswith(late) for note in found.notes)


def test_heat_of_a_cycle_is_kept_and_bodies_set_in_anew_start_afresh() -> None:
    problem = steady().built.problem
    fresh = np.arange(0, 200)
    shots = Shots(problem, CYCLE, Pace(2.0, 0.05, 0.05, single=False), fresh)
    start = problem.die_temp_c[problem.die.active]
    after = shots.turn(start)
    np.testing.assert_array_equal(after[fresh], start[fresh])
    heat = problem.die_j_m3k * problem.spacing_m**3 * problem.die.volume[problem.die.active]
    others = sum(taken for name, taken in shots.heat_j.items() if name != METAL)
    assert shots.heat_j["cores taken out"] > 0.0
    stored = float(np.sum(heat * (after - start)))
    assert others + stored == pytest.approx(shots.heat_j[METAL], rel=1e-9)


def test_circuits_run_by_the_clock_that_starts_with_pouring_through_the_open_die() -> None:
    problem, opens = steady().built.problem, CYCLE.closed_s
    place, one = problem.links.die[:300], np.ones(300)
    spans = {"early": (0.0, 30.0), "late": (opens + 5.0, opens + 30.0), "next": (CYCLE.length_s, 1e9)}
    baths = tuple(Bath(name, place, one, one, 500.0, 20.0, (span,)) for name, span in spans.items())
    shots = Shots(replace(problem, baths=(*problem.baths, *baths)), CYCLE, Pace(2.0, 0.05, 0.05))
    shots.turn(steady().die_c)
    assert shots.heat_j["next"] == 0.0
    assert shots.heat_j["early"] > shots.heat_j["late"] > 1000.0


def test_warm_up_that_does_not_come_near_is_told() -> None:
    found = steady()
    shots = Shots(found.built.problem, CYCLE, Pace(2.0, 0.05, 0.05))
    curve, near = warm_up(shots, found.die_c, 1.0, 2)
    assert not near and len(curve) == 3


def test_voxels_too_large_for_a_spin_up_are_told_and_do_without() -> None:
    mesh = mesh_of(m3.Manifold.cube([40.0, 30.0, 7.0], True))
    found = steady_cycle(voxelise(mesh, 3.0), surface=mesh, parts=ToolParts(cycle=CYCLE), coarser=6.0, tolerance_k=5.0,
                         **TOOL)  # fmt: skip
    assert found.coarse_cycles == 0 and found.converged
    assert any("no spin-up on voxels of 18 mm" in note for note in found.notes)


@pytest.mark.parametrize(("over", "words"), [
    ({"open_s": -1.0}, "cycle.*open_s: -1 is out of range"),
    ({"spray_w_m2k": 0.0}, "spray_w_m2k: 0 is out of range"),
    ({"air_temp_c": 900.0}, "air_temp_c"),
    ({"fill_s": 0.0, "hold_s": 0.0, "freeze_s": 0.0}, "closed_s: 0 is out of range"),
])  # fmt: skip
def test_impossible_cycles_are_refused_in_words(over: dict[str, float], words: str) -> None:
    mesh, grid = dish()
    with pytest.raises(InputError, match=words):
        steady_cycle(grid, surface=mesh, parts=ToolParts(cycle=replace(CYCLE, **over)), **TOOL)


def test_a_tool_without_a_cycle_is_refused() -> None:
    mesh, grid = dish()
    with pytest.raises(InputError, match="no production cycle is given"):
        steady_cycle(grid, surface=mesh, parts=ToolParts(), **TOOL)
    assert build(grid, surface=mesh, **TOOL).problem.die.active.size > 0

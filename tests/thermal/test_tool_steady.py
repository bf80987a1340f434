"""Baths, channels and dies of several materials against closed forms: steady walls and tubes, a block that cools."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from castq import materials
from castq.materials.types import DieMaterial
from castq.thermal.die_growth import Box
from castq.thermal.solid_grid import Cells, Links, whole_cells
from castq.thermal.solid_march import march
from castq.thermal.solid_problem import Bath, March, Pace, Problem
from castq.thermal.tool import Circuit, Tube
from castq.thermal.tool_channels import cool
from castq.thermal.tool_materials import like_one, open_faces
from castq.thermal.tool_shapes import Frame
from tests.thermal.test_solid_march import A356, bar

H13, COPPER, SAND = (materials.die_material(n) for n in ("H13", "CuBe C17510", "resin-bonded silica sand"))
NONE = np.empty(0, dtype=int)
Array = NDArray[np.float64]


def cells_of(die: NDArray[np.bool_]) -> Cells:
    """Return a die beside a casting of one cell that touches nothing."""
    casting = np.zeros_like(die)
    casting[2, 2, 2] = True
    links = Links(NONE, NONE, np.empty(0), np.empty(0), np.empty(0), NONE)
    return Cells(whole_cells(casting), whole_cells(die), links, NONE, 1.0)


def alone(cells: Cells, cell_mm: float, die: DieMaterial, start_c: float, *baths: Bath) -> Problem:
    """Return the problem of a die in baths."""
    return replace(
        bar(A356, 690.0, 350.0, cell_mm, (2, 2)), casting=cells.casting, die=cells.die, links=cells.links,
        contact_w_m2k=np.empty(0), gap_w_m2k=np.empty(0), die_k_w_mk=die.k_w_mk,
        die_j_m3k=die.density_kg_m3 * die.cp_j_kgk, die_temp_c=np.full(cells.die.volume.size, start_c), baths=baths,
    )  # fmt: skip


def cooled(problem: Problem, seconds: float, longest_s: float) -> March:
    return march(problem, Pace(longest_s, min(longest_s, 0.02), 0.02, single=False), until_s=seconds)


@pytest.mark.parametrize("second", [H13, COPPER, SAND])
def test_wall_of_two_materials_between_two_films_has_the_temperature_of_resistances_in_series(
    second: DieMaterial,
) -> None:
    """Films of 5000 W/m2K to 30 degC and 300 W/m2K to 480 degC, 8 mm of steel and 12 mm of the other."""
    die = np.zeros((5, 5, 16), dtype=bool)
    die[2, 2, 4:14] = True
    kind = np.zeros(die.shape, dtype=np.int8)
    kind[:, :, 8:] = 1
    cells, conductivity = like_one(cells_of(die), kind, [H13, second])
    if conductivity is None:
        conductivity = np.ones(die.size)
    ends = [int(np.ravel_multi_index((2, 2, z), die.shape)) for z in (4, 13)]
    baths = [
        Bath(name, np.array([end]), np.ones(1), np.array([0.5]) / conductivity[end], film, temp)
        for name, end, film, temp in zip("ab", ends, (5000.0, 300.0), (30.0, 480.0), strict=True)
    ]
    result = cooled(alone(cells, 2.0, H13, 250.0, *baths), 2500.0, 50.0)
    resistance = np.array([1.0 / 5000.0, 0.008 / H13.k_w_mk, 0.012 / second.k_w_mk, 1.0 / 300.0])
    flux = (480.0 - 30.0) / resistance.sum()
    depth = 0.001 * (2.0 * np.arange(10) + 1.0)
    exact = 30.0 + flux * (1.0 / 5000.0 + np.minimum(depth, 0.008) / H13.k_w_mk
                           + np.maximum(depth - 0.008, 0.0) / second.k_w_mk)  # fmt: skip
    np.testing.assert_allclose(result.die_c, exact, atol=1e-6)
    assert result.baths_j["a"] > 0.0 > result.baths_j["b"]


def test_a_small_block_in_a_bath_cools_exponentially() -> None:
    """One cell of 5 mm steel, 200 W/m2K on three faces, switched on at 10 s and off at 50 s."""
    die = np.zeros((8, 8, 8), dtype=bool)
    die[5, 5, 5] = True
    place = np.full(3, np.ravel_multi_index((5, 5, 5), die.shape))
    bath = Bath("a", place, np.ones(3), np.full(3, 0.5), 200.0, 40.0, ((10.0, 50.0),))
    problem = alone(cells_of(die), 5.0, H13, 400.0, bath)
    film = 1.0 / (1.0 / 200.0 + 0.0025 / H13.k_w_mk)
    rate = 3.0 * film / (H13.density_kg_m3 * H13.cp_j_kgk * 0.005)
    exact = 40.0 + 360.0 * np.exp(-rate * 40.0)
    assert 100.0 < exact < 300.0
    before, after = cooled(problem, 10.0, 0.1), cooled(problem, 80.0, 0.1)
    assert before.die_c[0] == pytest.approx(400.0, abs=1e-9)
    assert after.die_c[0] == pytest.approx(exact, abs=0.2)
    coarse = cooled(problem, 80.0, 0.2).die_c[0] - exact
    assert coarse / (after.die_c[0] - exact) == pytest.approx(2.0, rel=0.1)
    heat = H13.density_kg_m3 * H13.cp_j_kgk * 0.005**3 * (400.0 - after.die_c[0])
    assert after.baths_j["a"] == pytest.approx(heat, rel=1e-9)


def tube_flow(bore_mm: float, cell_mm: float, **over: Any) -> float:
    """Return the heat [W] that a tube along a steel cylinder of 80 mm takes in the steady state, over the exact one.

    Water at 20 degC and 5000 W/m2K in the tube, 500 W/m2K from 400 degC outside, 24 mm long, ends insulated.
    """
    count, long = round(80.0 / cell_mm) + 6, round(24.0 / cell_mm)
    frame = Frame(np.array([-0.5 * count * cell_mm, -0.5 * count * cell_mm, -2.0 * cell_mm]), cell_mm,
                  (count, count, long + 4))  # fmt: skip
    x, y, _ = frame.centres_mm
    inside = np.zeros(frame.shape, dtype=bool)
    inside[2:-2, 2:-2, 2:-2] = True
    die = inside & (np.hypot(x, y) <= 40.0)
    box = Box(np.zeros(3, dtype=int), np.zeros(frame.shape, dtype=np.float32), die, inside,
              np.zeros(frame.shape, dtype=np.float32), np.zeros((3, *frame.shape), dtype=np.int32))  # fmt: skip
    tube = Circuit("tube", Tube((0.0, 0.0, 0.0), (0.0, 0.0, 24.0), bore_mm), "water", 5000.0, 20.0, ((0.0, 1e9),))
    found = cool(box, frame, (tube,), None, None)
    place, area = open_faces(die, np.zeros_like(die), inside)
    area *= 2.0 * np.pi * 40.0 * 24.0 / cell_mm**2 / area.sum()
    outside = Bath("outside", place, area, np.full(area.size, 0.5), 500.0, 400.0)
    problem = alone(cells_of(found.die), cell_mm, H13, 250.0, outside, *found.baths)
    early, late = (cooled(problem, seconds, 20.0).baths_j["tube"] for seconds in (1500.0, 1600.0))
    radius = 0.5e-3 * bore_mm
    resistance = 1.0 / (5000.0 * radius) + np.log(0.04 / radius) / H13.k_w_mk + 1.0 / (500.0 * 0.04)
    return (late - early) / 100.0 / (2.0 * np.pi * 0.024 * 380.0 / resistance)


@pytest.mark.parametrize(("bore_mm", "limit"), [(1.0, 0.05), (2.0, 0.05), (4.0, 0.04), (8.0, 0.03), (14.0, 0.03)])
def test_a_tube_takes_the_heat_of_a_hollow_cylinder(bore_mm: float, limit: float) -> None:
    """Thinner than a voxel or several voxels wide."""
    assert tube_flow(bore_mm, 4.0) == pytest.approx(1.0, abs=limit)

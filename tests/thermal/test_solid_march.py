"""The march of the solid solver against closed forms of conduction and freezing, on bars and blocks of whole cells."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import erf, erfc

from castq import materials
from castq.materials.types import Alloy
from castq.thermal.heat_table import heat_table
from castq.thermal.kinks import bend
from castq.thermal.solid_bodies import stage_weights, stages_for
from castq.thermal.solid_grid import Links, whole_cells
from castq.thermal.solid_kernel import EVENTS, SOLID
from castq.thermal.solid_march import march
from castq.thermal.solid_problem import March, Pace, Problem

A356 = materials.alloy("A356")
PERFECT = 1e9
# Takes any heat without warming: conductivity [W/mK] and heat capacity [J/m3K].
BATH = (1e8, 1e15)
EXACT = Pace(single=False)


def pure_metal(freezing_c: float, latent: float, solid: tuple[float, float], liquid: tuple[float, float]) -> Alloy:
    """Return a metal that freezes within 1e-4 K; solid and liquid are (conductivity, heat capacity)."""
    return replace(
        A356, liquidus_c=freezing_c + 1e-4, end_of_freezing_c=freezing_c, latent_heat_kj_kg=latent,
        density_kg_m3=2550.0, k_solid_w_mk=solid[0], cp_solid_j_kgk=solid[1], k_liquid_w_mk=liquid[0],
        cp_liquid_j_kgk=liquid[1], fraction_solid_temp_c=np.array([freezing_c + 1e-4, freezing_c]),
        fraction_solid=np.array([0.0, 1.0]),
    )  # fmt: skip


def bar(alloy: Alloy, melt_c: float, die_c: float, cell_mm: float, cells: tuple[int, int], **over: Any) -> Problem:
    """Return a bar of casting cells against a bar of die cells, insulated but for the face between them."""
    count, behind = cells
    mask = np.zeros((5, 5, count + behind + 4), dtype=bool)
    casting, die = mask.copy(), mask.copy()
    casting[2, 2, 2 : 2 + count] = True
    die[2, 2, 2 + count : 2 + count + behind] = True
    face = np.ravel_multi_index((2, 2, 1 + count), mask.shape)
    half = np.array([0.5])
    links = Links(np.array([face]), np.array([face + 1]), np.ones(1), half, half, np.zeros(1, dtype=int))
    table = heat_table(alloy, np.ones(1), np.ones(1))
    melting = np.array([table.liquidus_j_m3[0], *table.marks_j_m3[0, :2], table.marks_j_m3[0, 1], 0.0])
    marks_c = np.array([alloy.liquidus_c] + [alloy.end_of_freezing_c] * (EVENTS - 1))
    given: dict[str, Any] = {
        "contact_w_m2k": np.array([PERFECT]), "gap_w_m2k": np.array([PERFECT]), "die_k_w_mk": BATH[0],
        "die_j_m3k": BATH[1], "outer": (np.empty(0, dtype=int), np.empty(0)), "outer_w_m2k": 1.0, "outer_temp_c": die_c,
        "die_temp_c": np.full(mask.size, die_c), "links": links,
    } | over  # fmt: skip
    return Problem(
        casting=whole_cells(casting), die=whole_cells(die), spacing_m=1e-3 * cell_mm, table=table, marks_j_m3=melting,
        mark_c=marks_c, start_j_m3=float(table.start_j_m3(np.array([melt_c]))[0]), switch_c=-1000.0, **given,
    )  # fmt: skip


def orders(errors: list[float]) -> list[float]:
    return [float(np.log2(abs(a / b))) for a, b in pairwise(errors)]


def front_error(result: March, cell_mm: float, root: float, diffusivity: float, reach_mm: tuple[float, float]) -> float:
    """Return the mean error of the times at which a front x = 2 root sqrt(a t) passes the middles of cells [-]."""
    depth = cell_mm * (np.arange(result.times_s.shape[1])[::-1] + 0.5)
    exact = (1e-3 * depth) ** 2 / (4.0 * root**2 * diffusivity)
    within = (depth > reach_mm[0]) & (depth < reach_mm[1])
    return float(np.mean(result.times_s[SOLID][within] / exact[within] - 1.0))


S1 = pure_metal(577.0, 430.0, (150.0, 1100.0), (150.0, 1100.0))
S3 = replace(pure_metal(577.0, 430.0, (150.0, 1100.0), (65.0, 1150.0)), density_kg_m3=2500.0)


def neumann_root(alloy: Alloy, melt_c: float, bath_c: float) -> float:
    """Return lambda of the two-phase Stefan problem with equal densities (Carslaw and Jaeger 1959, 11.2)."""
    v = np.sqrt(alloy.k_solid_w_mk / alloy.cp_solid_j_kgk / (alloy.k_liquid_w_mk / alloy.cp_liquid_j_kgk))

    def balance(x: float) -> float:
        solid = alloy.cp_solid_j_kgk * (577.0 - bath_c) * np.exp(-(x**2)) / erf(x)
        liquid = alloy.cp_liquid_j_kgk * (melt_c - 577.0) * np.exp(-((v * x) ** 2)) / erfc(v * x) / v
        return float(solid - liquid - 1e3 * alloy.latent_heat_kj_kg * x * np.sqrt(np.pi))

    return float(brentq(balance, 1e-6, 3.0, xtol=1e-14))


@pytest.mark.parametrize(("alloy", "melt_c", "root"), [(S1, 577.0001, 0.469457), (S3, 677.0, 0.400075)],
                         ids=["one phase", "two phases"])  # fmt: skip
def test_front_follows_the_stefan_and_neumann_solutions(alloy: Alloy, melt_c: float, root: float) -> None:
    exact = neumann_root(alloy, melt_c, 377.0)
    assert exact == pytest.approx(root, abs=2e-6)
    diffusivity = alloy.k_solid_w_mk / (alloy.density_kg_m3 * alloy.cp_solid_j_kgk)
    seconds = 0.017**2 / (4.0 * exact**2 * diffusivity)
    errors = []
    for cell_mm in (2.0, 1.0):
        result = march(bar(alloy, melt_c, 377.0, cell_mm, (round(60.0 / cell_mm), 2)), EXACT, until_s=seconds)
        errors.append(front_error(result, cell_mm, exact, diffusivity, (7.9, 16.1)))
    assert abs(errors[1]) < 0.015
    assert orders(errors)[0] > 1.5


@pytest.mark.parametrize(("mould", "start_c", "time_s"), [((27.0, 7700.0 * 560.0), 350.0, 4.9108),
                                                           ((120.0, 8250.0 * 440.0), 250.0, 1.1421)],
                         ids=["H13", "CuBe"])  # fmt: skip
def test_metal_against_a_semi_infinite_mould_freezes_as_schwarz_says(
    mould: tuple[float, float], start_c: float, time_s: float
) -> None:
    """Metal at its freezing temperature, perfect contact: 5 mm are frozen after `time_s`."""
    root = 0.005 / (2.0 * np.sqrt(time_s * 150.0 / (2550.0 * 1100.0)))
    errors = []
    for cell_mm in (1.0, 0.5):
        problem = bar(S1, 577.0001, start_c, cell_mm, (round(9.0 / cell_mm), round(60.0 / cell_mm)),
                      die_k_w_mk=mould[0], die_j_m3k=mould[1])  # fmt: skip
        result = march(problem, EXACT, until_s=1.3 * time_s)
        errors.append(front_error(result, cell_mm, root, 150.0 / (2550.0 * 1100.0), (2.0, 5.0)))
    assert abs(errors[1]) < 0.015
    assert orders(errors)[0] > 0.9


def block_error(cells: int) -> float:
    """Return the worst error [K] of cosine waves of 50 K fading in an insulated steel block of 48 mm."""
    shape = (cells + 4,) * 3
    die, casting = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    die[2:-2, 2:-2, 2:-2] = True
    casting[2, 2, 2] = True
    place = (np.arange(cells) + 0.5) / cells
    waves = np.cos(np.pi * place)[:, None, None] * np.cos(np.pi * place)[:, None] * np.cos(2.0 * np.pi * place)
    start = np.full(shape, 400.0)
    start[2:-2, 2:-2, 2:-2] += 50.0 * waves
    none = np.empty(0, dtype=int)
    problem = replace(
        bar(A356, 690.0, 350.0, 1.0, (2, 2)), casting=whole_cells(casting), die=whole_cells(die),
        spacing_m=0.048 / cells, links=Links(none, none, np.empty(0), np.empty(0), np.empty(0), none),
        contact_w_m2k=np.empty(0), gap_w_m2k=np.empty(0), die_k_w_mk=27.0, die_j_m3k=4.3e6,
        die_temp_c=start.reshape(-1),
    )  # fmt: skip
    result = march(problem, Pace(longest_s=0.05, shortest_s=0.05, single=False), until_s=8.0)
    fade = np.exp(-27.0 / 4.3e6 * 6.0 * (np.pi / 0.048) ** 2 * 8.0)
    assert 0.2 < fade < 0.8
    return float(np.abs(result.die_rise_k - (50.0 * (fade - 1.0) * waves).reshape(-1)).max())


def test_heat_conduction_is_second_order_in_space() -> None:
    errors = [block_error(cells) for cells in (8, 16, 32)]
    assert min(orders(errors)) > 1.85
    assert errors[-1] < 0.1


# Share of the first temperature difference left in the middle of a slab: Bi 1, Fo 0.5, by the series in 30 digits.
LEFT = 0.772526383424


def slab_errors(*, half_cell: float) -> list[float]:
    """Return the error of the time at which the middle passes a temperature, over three grids."""
    metal = pure_metal(300.0 + 400.0 * LEFT, 1e-6, (100.0, 1000.0), (100.0, 1000.0))
    film = np.array([100.0 / 0.02])
    errors = []
    for cells in (4, 8, 16):
        problem = bar(metal, 700.0, 300.0, 20.0 / cells, (cells, 2), contact_w_m2k=film, gap_w_m2k=film)
        links = replace(problem.links, casting_half=np.array([half_cell]))
        seconds = 0.5 * 0.02**2 * 2550.0 * 1000.0 / 100.0
        result = march(replace(problem, links=links), Pace(0.02, 0.002, 0.01, single=False), until_s=1.5 * seconds)
        errors.append(float(result.times_s[SOLID][0]) / seconds - 1.0)
    return errors


def test_interface_is_second_order_and_a_half_cell_left_out_shows() -> None:
    right, wrong = slab_errors(half_cell=0.5), slab_errors(half_cell=0.0)
    assert orders(right)[-1] > 1.7 and abs(right[-1]) < 0.01
    assert orders(wrong)[-1] < 1.3


def test_stages_stay_stable_and_second_order() -> None:
    """The stability polynomial keeps to one on the whole interval, and equals exp(z) to second order near zero."""
    for tau in (0.3, 1.0, 7.0, 60.0):
        stages = stages_for(tau, 1.0)
        first, weights = stage_weights(stages, tau)
        assert stages % 2 == 1 and len(weights) == stages - 1
        rate = np.concatenate([-np.linspace(0.0, 2.0, 400), [-1e-3 / tau, -2e-3 / tau]])
        before, now = np.zeros_like(rate), first * rate
        for mu, nu, new, old in weights:
            before, now = now, mu * now + nu * before + new * rate * now + old * rate
        assert np.all(np.abs(1.0 + now) <= 1.0 + 1e-12)
        errors = np.abs(1.0 + now[-2:] - np.exp(rate[-2:] * tau))
        assert np.log2(errors[1] / errors[0]) > 2.8


@pytest.mark.parametrize("name", ["A356", "AlSi11"])
def test_bends_give_the_heat_potential_of_the_table(name: str) -> None:
    alloy = materials.alloy(name)
    table = heat_table(alloy, np.ones(1), np.ones(1))
    slope, kinks, bends = bend(table)
    h = np.linspace(-5e8, 1.6e9, 4001)
    piece = np.searchsorted(table.bounds_j_m3[0], h, side="right") - 1
    exact = table.lines[0, piece, 0] + table.lines[0, piece, 1] * h
    found = slope * h + np.maximum(h[:, None] - kinks, 0.0) @ bends
    off = (found - found[0]) - (exact - exact[0])
    assert np.abs(off).max() / alloy.k_liquid_w_mk < 0.5


def test_half_a_bar_to_its_plane_of_symmetry_is_half_of_the_whole_bar() -> None:
    """The plane lets no heat through, so the gradient across it is half that toward the first cell's neighbour."""
    half = bar(A356, 690.0, 350.0, 2.0, (6, 8), contact_w_m2k=np.array([1500.0]), gap_w_m2k=np.array([500.0]))
    mask = np.zeros((5, 5, 12 + 16 + 4), dtype=bool)
    casting, die = mask.copy(), mask.copy()
    casting[2, 2, 10:22] = True
    die[2, 2, 2:10] = die[2, 2, 22:30] = True
    low, high = (int(np.ravel_multi_index((2, 2, at), mask.shape)) for at in (10, 21))
    both, mid = np.ones(2), np.full(2, 0.5)
    links = Links(np.array([low, high]), np.array([low - 1, high + 1]), both, mid, mid, np.arange(2))
    whole = replace(
        half, casting=whole_cells(casting), die=whole_cells(die), links=links, die_temp_c=np.full(mask.size, 350.0),
        contact_w_m2k=1500.0 * both, gap_w_m2k=500.0 * both,
    )  # fmt: skip
    one, two = march(half, EXACT), march(whole, EXACT)
    np.testing.assert_allclose(one.gradient_k, two.gradient_k[6:], rtol=1e-6)
    np.testing.assert_allclose(one.times_s, two.times_s[:, 6:], rtol=1e-6)

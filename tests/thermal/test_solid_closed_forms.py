"""The solid solver against closed forms of freezing and cooling, on bars of whole cells, and its heat balance.

`tests/thermal/test_solid_march.py` holds the one- and two-phase Stefan problem of A356-like metal, the moulds of H13
and of CuBe, and the slab at Bi = 1; here are the other Stefan numbers, other data, the other two moulds and the
temperatures, half space, thin body, thin layer, and the slab at other Biot numbers.
"""

from __future__ import annotations

from dataclasses import replace

import manifold3d as m3
import numpy as np
import pytest
from numpy.typing import NDArray

from castq.geometry.axis import find_axis
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import voxelise
from castq.materials.types import Alloy
from castq.thermal.die_growth import sector_of
from castq.thermal.solid import freeze_solid
from castq.thermal.solid_kernel import SOLID
from castq.thermal.solid_march import march
from castq.thermal.solid_problem import March, Pace
from tests.thermal import closed_forms as exact
from tests.thermal import solid_cases as cases
from tests.thermal.solid_shapes import A356, H13, mesh_of
from tests.thermal.test_solid_march import EXACT, bar, orders, pure_metal

Array = NDArray[np.float64]


def fronts(
    metal: Alloy, temps_c: tuple[float, float], root: float, cells_mm: tuple[float, float]
) -> tuple[Array, March]:
    """Return the errors of the time to freeze 15 mm in two sizes of cell [-], and the finer run, to 17 mm."""
    seconds, right = (exact.front_time_s(metal, root, depth) for depth in (17.0, 15.0))
    runs = [cases.stefan_bar(metal, *temps_c, cell, seconds) for cell in cells_mm]
    times = [cases.frozen_depth_s(run, cell, (7.4, 16.1), 15.0) for run, cell in zip(runs, cells_mm, strict=True)]
    return np.array(times) / right - 1.0, runs[-1]


@pytest.mark.parametrize(("stefan", "root"), [(0.1, 0.22001627274294), (2.0, 0.80060136280561)])
def test_one_phase_stefan_at_small_and_large_stefan_number(stefan: float, root: float) -> None:
    """Metal at freezing, face held 200 K colder (Stefan, as in Carslaw and Jaeger 1959, 11.2)."""
    metal = pure_metal(577.0, 220.0 / stefan, (150.0, 1100.0), (150.0, 1100.0))
    errors, _ = fronts(metal, (577.0001, 377.0), root, (3.0, 1.5))
    assert abs(errors[-1]) < 0.015
    assert orders(list(errors))[0] > 1.2


def test_two_phase_stefan_with_the_data_of_a_finite_element_verification_case() -> None:
    """Half space at 740 degC, face at 580 degC, freezing at 660 degC: front, and temperature before and behind it."""
    metal = cases.FE_CASE
    root = exact.neumann_root(metal, 740.0, 580.0)
    assert root == pytest.approx(0.272960, abs=1e-6)
    errors, run = fronts(metal, (740.0, 580.0), root, (2.0, 1.0))
    assert abs(errors[-1]) < 0.012
    assert orders(list(errors))[0] > 1.4
    depth, h, latent = cases.middles_mm(run, 1.0), run.enthalpy_j_m3, 2500.0 * 432192.0
    temp = 660.0 + np.where(h < 0.0, h / 3.0e6, np.where(h > latent, (h - latent) / 2.58e6, 0.0))
    found = np.interp([8.5, 34.0], depth[::-1], temp[::-1])
    np.testing.assert_allclose(found, [620.743, 701.369], atol=0.8)
    worked = [exact.neumann_temp_c(metal, 740.0, 580.0, share) for share in (0.5, 2.0)]
    np.testing.assert_allclose(worked, [620.743, 701.369], atol=1e-3)


SCHWARZ = {"H13": (558.095, 4.9108), "grey iron": (551.770, 3.6990), "CuBe": (491.306, 1.1421),
           "sand": (575.788, 75.4958)}  # fmt: skip


@pytest.mark.parametrize("mould", SCHWARZ)
def test_metal_freezes_against_four_moulds_as_schwarz_says(mould: str) -> None:
    """Perfect contact: 5 mm are frozen after a time, and the face keeps one temperature (Schwarz 1933)."""
    face_c, time_s = SCHWARZ[mould]
    root, face = exact.schwarz(cases.AT_FREEZING, *cases.MOULDS[mould])
    assert face == pytest.approx(face_c, abs=2e-3)
    assert exact.front_time_s(cases.AT_FREEZING, root, 5.0) == pytest.approx(time_s, rel=1e-4)
    runs = [cases.mould_bar(mould, cell, 1.3 * time_s) for cell in (1.0, 0.5)]
    errors = [cases.frozen_depth_s(run, cell, (2.0, 5.0), 5.0) / time_s - 1.0
              for run, cell in zip(runs, (1.0, 0.5), strict=True)]  # fmt: skip
    assert abs(errors[-1]) < 0.006
    assert orders(errors)[0] > 1.4
    assert runs[-1].link_c[0, 1] == pytest.approx(face_c, abs=0.3)


HALF_SPACE_C = {1.0: (384.847, 353.246), 5.0: (418.200, 378.642), 30.0: (474.310, 441.880)}


@pytest.mark.parametrize("seconds", HALF_SPACE_C)
def test_die_behind_a_film_warms_as_the_half_space_does(seconds: float) -> None:
    """Steel at 350 degC, fluid of 600 degC, 1500 W/m2K (Carslaw and Jaeger 1959, 2.7): face, and 5 mm below it."""
    errors = []
    for cell in (2.0, 1.0, 0.5):
        depth, temp = cases.heated_half_space(cell, 1500.0, seconds)
        right = [350.0 + 250.0 * exact.half_space_share(x, seconds, 1500.0, cases.STEEL) for x in depth]
        errors.append(float(np.abs(temp - right).max()))
    assert min(orders(errors)) > 1.8
    face = 600.0 - (600.0 - temp[-1]) / (1.0 + 0.25e-3 * 1500.0 / cases.STEEL[0])
    below = np.interp(5.0, depth[::-1], temp[::-1])
    np.testing.assert_allclose([face, below], HALF_SPACE_C[seconds], atol=0.1)


def test_half_space_takes_the_heat_of_a_stepped_face() -> None:
    """Face held at 600 degC for 10 s: 442.884 degC at 10 mm, 9.6253 MJ/m2 taken."""
    depth, temp = cases.heated_half_space(0.5, 1e9, 10.0)
    assert np.interp(10.0, depth[::-1], temp[::-1]) == pytest.approx(442.884, abs=0.05)
    assert np.sum(temp - 350.0) * cases.STEEL[1] * 0.5e-3 == pytest.approx(9.6253e6, rel=1e-3)


def test_thin_body_cools_as_newton_says() -> None:
    """Modulus 5 mm behind 1500 W/m2K to 350 degC: 2.5595 s liquid, 17.0291 s freezing, 2.7489 s solid."""
    sections = np.diff(cases.lumped_times_s(), prepend=0.0)
    np.testing.assert_allclose(sections, [2.5595, 17.0291, 2.7489], rtol=1e-4)
    by_newton = [
        exact.lumped_time_s(12.0 * 1150.0, 1500.0, (700.0, 615.0, 350.0)),
        exact.lumped_time_s(12.0 * (430e3 / 60.0 + 1125.0), 1500.0, (615.0, 555.0, 350.0)),
        exact.lumped_time_s(12.0 * 1100.0, 1500.0, (555.0, 500.0, 350.0)),
    ]
    np.testing.assert_allclose(sections, by_newton, rtol=1e-5)


def test_thin_layer_freezes_a_little_slower_than_its_latent_heat_alone() -> None:
    """Film and frozen layer in series, no heat but the latent: 16.5039 s for 5 mm, a lower bound (Adams)."""
    metal, film = cases.AT_FREEZING, np.array([1500.0])
    assert exact.adams_time_s(metal, 5.0, 1500.0, 350.0) == pytest.approx(16.5039, abs=1e-4)
    problem = bar(metal, 577.0001, 350.0, 0.5, (18, 2), contact_w_m2k=film, gap_w_m2k=film)
    run = march(problem, EXACT, until_s=18.0)
    depth = cases.middles_mm(run, 0.5)
    taken = (depth > 1.0) & (depth < 5.0)
    right = np.array([exact.adams_time_s(metal, x, 1500.0, 350.0) for x in depth[taken]])
    over = run.times_s[SOLID][taken] / right - 1.0
    # The frozen metal also gives up cp (Tm - T) / 2, at most 1.3 % of the latent heat at 5 mm.
    assert np.all((over > 0.0) & (over < 0.015))


@pytest.mark.parametrize(("biot", "fourier", "left"), [(0.1, 5.0, 0.626376723636), (10.0, 0.2, 0.829254730823)])
def test_plate_with_a_film_cools_as_the_series_says(biot: float, fourier: float, left: float) -> None:
    seconds = fourier * 0.02**2 * 2550.0 * 1000.0 / 100.0
    errors = [cases.slab_time_s(biot, left, cells) / seconds - 1.0 for cells in (4, 8, 16)]
    assert abs(errors[-1]) < 0.003
    assert min(orders(errors)) > 1.9


def small_wheel() -> Mesh:
    """Return a hub, five spokes and a rim of 150 mm, mirrored about each spoke."""
    body = m3.Manifold.cylinder(36.0, 24.0, 24.0, 120, True)
    body += m3.Manifold.cylinder(44.0, 75.0, 75.0, 120, True) - m3.Manifold.cylinder(50.0, 63.0, 63.0, 120, True)
    for number in range(5):
        body += m3.Manifold.cube([60.0, 16.0, 14.0], True).translate([42.0, 0.0, 0.0]).rotate([0.0, 0.0, 72.0 * number])
    return mesh_of(body)


@pytest.mark.parametrize("whole", [False, True], ids=["sector", "whole"])
def test_heat_is_kept_over_a_shot_of_a_wheel(whole: bool) -> None:
    """From pouring to the last cell solid: balance to 1e-12 in double and to 1e-6 in single precision."""
    mesh = small_wheel()
    grid = voxelise(mesh, 4.0)
    sector = None if whole else sector_of(find_axis(mesh))
    assert whole or (sector is not None and sector.span_rad == pytest.approx(np.pi / 5))
    pace = Pace(2.0, 0.05, 0.05)
    runs = [
        freeze_solid(grid, surface=mesh, alloy=A356, die=H13, melt_temp_c=690.0, die_temp_c=350.0, contact_w_m2k=1500.0,
                     gap_w_m2k=500.0, die_wall_mm=15.0, sector=sector, pace=replace(pace, single=single))
        for single in (False, True)
    ]  # fmt: skip
    assert abs(runs[0].heat_residual) < 1e-12
    assert abs(runs[1].heat_residual) < 1e-6
    off = runs[1].local_solidification_s / runs[0].local_solidification_s - 1.0
    assert np.nanmean(np.abs(off)) < 1e-3

"""The wall solution against closed forms of heat conduction with freezing, and what must hold for any wall."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.special import erf, erfc, erfcx

from castq import materials
from castq.core.errors import InputError
from castq.materials.types import Alloy, DieMaterial
from castq.thermal import wall_march
from castq.thermal.wall import freeze_walls, wall_solid_time

A356 = materials.alloy("A356")
H13 = materials.die_material("H13")
NORMAL = {"melt_temp_c": 690.0, "die_temp_c": 350.0}
# Takes any heat without warming: fixed temperature at the casting surface once the film conducts well enough.
ICE_BATH = DieMaterial("bath", (), 1e8, 1e7, 1e6, {})
PERFECT = 1e9


def pure_metal(freezing_c: float, latent: float, solid: tuple[float, float], liquid: tuple[float, float]) -> Alloy:
    """Return a metal that freezes within 1e-4 K; solid and liquid are (conductivity, heat capacity)."""
    return replace(
        A356,
        liquidus_c=freezing_c + 1e-4,
        end_of_freezing_c=freezing_c,
        latent_heat_kj_kg=latent,
        density_kg_m3=2550.0,
        k_solid_w_mk=solid[0],
        cp_solid_j_kgk=solid[1],
        k_liquid_w_mk=liquid[0],
        cp_liquid_j_kgk=liquid[1],
        fraction_solid_temp_c=np.array([freezing_c + 1e-4, freezing_c]),
        fraction_solid=np.array([0.0, 1.0]),
    )


def front_time_s(depth_mm: float, alloy: Alloy, melt_temp_c: float, bath_c: float, cell_mm: float) -> float:
    """Return when the front of a thick wall in perfect contact with a bath has passed a depth."""
    cells = round(5.0 * depth_mm / cell_mm)
    values = (10.0 * depth_mm, melt_temp_c, bath_c, PERFECT, PERFECT, 40.0, 1.0, 1.0, 200.0, bath_c)
    runs = wall_march.Runs(*(np.array([v]) for v in values))
    watched = cells - round(depth_mm / cell_mm)
    out = wall_march.march_runs(runs, alloy, ICE_BATH, np.array([cells]), watched)
    return float(out[0, wall_march.kernel.SOLID])


def orders(errors: list[float]) -> list[float]:
    return [float(np.log2(abs(a / b))) for a, b in pairwise(errors)]


def neumann_root(alloy: Alloy, melt_temp_c: float, bath_c: float) -> float:
    """Return lambda of the two-phase Stefan problem with equal densities (Carslaw and Jaeger 1959, 11.2)."""
    a_s = alloy.k_solid_w_mk / alloy.cp_solid_j_kgk
    a_l = alloy.k_liquid_w_mk / alloy.cp_liquid_j_kgk
    v = np.sqrt(a_s / a_l)
    latent = 1e3 * alloy.latent_heat_kj_kg
    freezing = alloy.end_of_freezing_c

    def balance(x: float) -> float:
        solid = alloy.cp_solid_j_kgk * (freezing - bath_c) * np.exp(-(x**2)) / erf(x)
        liquid = alloy.cp_liquid_j_kgk * (melt_temp_c - freezing) * np.exp(-((v * x) ** 2)) / erfc(v * x) / v
        return float(solid - liquid - latent * x * np.sqrt(np.pi))

    return float(brentq(balance, 1e-6, 3.0, xtol=1e-14))


S1 = pure_metal(577.0, 430.0, (150.0, 1100.0), (150.0, 1100.0))
S3 = replace(pure_metal(577.0, 430.0, (150.0, 1100.0), (65.0, 1150.0)), density_kg_m3=2500.0)
S2 = replace(pure_metal(660.0, 432.192, (210.0, 1200.0), (95.0, 1032.0)), density_kg_m3=2500.0)


@pytest.mark.parametrize(
    ("alloy", "melt_c", "bath_c", "root"),
    [(S1, 577.0001, 377.0, 0.469457), (S3, 677.0, 377.0, 0.400075), (S2, 740.0, 580.0, 0.272960)],
    ids=["one phase", "A356-like", "finite-element verification case"],
)
def test_front_follows_the_stefan_and_neumann_solutions(
    alloy: Alloy, melt_c: float, bath_c: float, root: float
) -> None:
    exact_root = neumann_root(alloy, melt_c, bath_c)
    assert exact_root == pytest.approx(root, abs=2e-6)
    diffusivity = alloy.k_solid_w_mk / (alloy.density_kg_m3 * alloy.cp_solid_j_kgk)
    exact = 0.02**2 / (4.0 * exact_root**2 * diffusivity)
    errors = [front_time_s(20.0, alloy, melt_c, bath_c, cell) / exact - 1.0 for cell in (2.0, 1.0, 0.5, 0.25)]
    assert abs(errors[-1]) < 0.001
    assert abs(errors[1]) < 0.005
    assert np.mean(orders(errors)) > 0.9


MOULDS = {
    "H13": ((27.0, 7700.0, 560.0), 350.0, 558.095, 4.9108),
    "grey iron": ((42.0, 7100.0, 560.0), 350.0, 551.770, 3.6990),
    "CuBe": ((120.0, 8250.0, 440.0), 250.0, 491.306, 1.1421),
    "sand": ((0.61, 1500.0, 1130.0), 25.0, 575.788, 75.4958),
}


@pytest.mark.parametrize("mould", MOULDS)
def test_plate_freezes_as_schwarz_says(mould: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Metal at its freezing temperature against a semi-infinite mould in perfect contact; both grids refined."""
    (k, density, cp), start_c, face_c, time_s = MOULDS[mould]
    metal = np.sqrt(150.0 * 2550.0 * 1100.0)
    die = np.sqrt(k * density * cp)

    def balance(x: float) -> float:
        face = (metal * 577.0 + die * start_c * erf(x)) / (metal + die * erf(x))
        return float((577.0 - face) * np.exp(-(x**2)) / erf(x) - x * 430e3 * np.sqrt(np.pi) / 1100.0)

    root = brentq(balance, 1e-6, 2.0, xtol=1e-14)
    exact = 0.005**2 / (4.0 * root**2 * 150.0 / (2550.0 * 1100.0))
    assert exact == pytest.approx(time_s, rel=2e-4)
    errors, faces = [], []
    for cells, die_cells in ((5, 20), (10, 40), (20, 80)):
        monkeypatch.setattr(wall_march, "DIE_CELLS", die_cells)
        times = freeze_walls(
            10.0, alloy=S1, die=DieMaterial(mould, (), k, density, cp, {}), melt_temp_c=577.0001, die_temp_c=start_c,
            contact_w_m2k=PERFECT, gap_w_m2k=PERFECT, outer_temp_c=start_c, cells=cells,
        )  # fmt: skip
        errors.append(float(times.solid_s[0] / exact - 1.0))
        faces.append(float(times.die_surface_c[0]))
    assert abs(errors[-1]) < 0.003
    assert min(orders(errors)) > 0.9
    assert faces[-1] == pytest.approx(face_c, abs=0.2)


def test_die_behind_a_film_warms_as_the_semi_infinite_body_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """Isothermal metal at 600 degC gives 1500 W/m2K: face temperature and heat taken after 60 s."""
    k, h, seconds = 27.0, 1500.0, 60.0
    beta = h * np.sqrt(k / (7700.0 * 560.0)) / k
    decay = erfcx(beta * np.sqrt(seconds))
    heat = h * 250.0 / beta**2 * (decay - 1.0 + 2.0 * beta * np.sqrt(seconds / np.pi))
    assert 600.0 - 250.0 * decay == pytest.approx(498.132, abs=1e-3)
    latent = heat / (2550.0 * 0.005) / 1e3
    block = pure_metal(600.0, latent, (1e7, 1e6), (1e7, 1e6))
    block = replace(block, liquidus_c=600.0 + 1e-7, fraction_solid_temp_c=np.array([600.0 + 1e-7, 600.0]))
    errors = []
    for die_cells in (20, 40, 80):
        monkeypatch.setattr(wall_march, "DIE_CELLS", die_cells)
        times = freeze_walls(
            10.0, alloy=block, die=H13, melt_temp_c=600.0 + 1e-7, die_temp_c=350.0, contact_w_m2k=h, gap_w_m2k=h,
            die_wall_mm=150.0, outer_temp_c=350.0, cells=2,
        )  # fmt: skip
        errors.append(float(times.solid_s[0] / seconds - 1.0))
    assert abs(errors[-1]) < 0.0005
    assert min(orders(errors)) > 1.8
    assert times.die_surface_c[0] == pytest.approx(498.132, abs=0.05)


# Centre of a slab with a film, share of the first temperature difference left: (Bi, Fo) and the series in 30 digits.
SLABS = {"Bi 1": (1.0, 0.5, 0.772526383424), "Bi 10": (10.0, 0.2, 0.829254730823)}


def slab_errors(slab: str, *, half_cell_counted: bool) -> list[float]:
    """Return the error of the time at which the centre passes a temperature, over three grids."""
    biot, fourier, left = SLABS[slab]
    half_m, k, heat = 0.02, 100.0, 2550.0 * 1000.0
    metal = pure_metal(300.0 + 400.0 * left, 1e-7, (k, 1000.0), (k, 1000.0))
    errors = []
    for cells in (8, 16, 32):
        film_m2k_w = half_m / (biot * k) - (0.0 if half_cell_counted else 0.5 * half_m / cells / k)
        times = freeze_walls(
            40.0, alloy=metal, die=ICE_BATH, melt_temp_c=700.0, die_temp_c=300.0, contact_w_m2k=1.0 / film_m2k_w,
            gap_w_m2k=1.0 / film_m2k_w, outer_temp_c=300.0, cells=cells,
        )  # fmt: skip
        errors.append(float(times.solid_s[0] / (fourier * half_m**2 * heat / k) - 1.0))
    return errors


@pytest.mark.parametrize("slab", SLABS)
def test_heat_conduction_is_second_order(slab: str) -> None:
    errors = slab_errors(slab, half_cell_counted=True)
    assert abs(errors[-1]) < 0.005
    assert orders(errors)[-1] > 1.8


@pytest.mark.parametrize("slab", SLABS)
def test_order_shows_a_half_cell_left_out_of_the_interface(slab: str) -> None:
    """Negative control: without the half cell the answer looks right and the order falls."""
    errors = slab_errors(slab, half_cell_counted=False)
    assert abs(errors[-1]) < 0.05
    assert orders(errors)[-1] < 1.3


def test_default_grid_gives_the_times_of_a_fine_one(monkeypatch: pytest.MonkeyPatch) -> None:
    walls = np.array([4.0, 8.0, 20.0, 50.0])
    cases = [(1500.0, 500.0), (3000.0, 3000.0), (6000.0, 2000.0), (500.0, 200.0)]
    kwargs = {"alloy": A356, "die": H13, **NORMAL}
    used = [freeze_walls(walls, contact_w_m2k=c, gap_w_m2k=g, **kwargs) for c, g in cases]
    monkeypatch.setattr(wall_march, "DIE_CELLS", 60)
    monkeypatch.setattr(wall_march, "MOST_STEPS", 4_000_000)
    for (contact, gap), times in zip(cases, used, strict=True):
        fine = freeze_walls(walls, contact_w_m2k=contact, gap_w_m2k=gap, cells=20, **kwargs)
        np.testing.assert_allclose(times.local_solidification_s, fine.local_solidification_s, rtol=0.002)
        np.testing.assert_allclose(times.solid_s, fine.solid_s, rtol=0.002)
        np.testing.assert_allclose(times.cutoff_s, fine.cutoff_s, rtol=0.008)


inputs = st.fixed_dictionaries({
    "wall_mm": st.floats(3.0, 60.0),
    "contact_w_m2k": st.floats(400.0, 4000.0),
    "gap_w_m2k": st.floats(150.0, 400.0),
    "die_temp_c": st.floats(200.0, 480.0),
    "melt_temp_c": st.floats(640.0, 760.0),
})  # fmt: skip


@settings(max_examples=25, deadline=None, derandomize=True)
@given(inputs, st.floats(1.02, 1.5))
def test_each_input_acts_its_known_way(at: dict[str, float], factor: float) -> None:
    """Thicker, hotter or less well cooled walls never freeze sooner; the heat balance closes."""
    changed = [
        at,
        {**at, "wall_mm": at["wall_mm"] * factor},
        {**at, "die_temp_c": at["die_temp_c"] + 50.0 * (factor - 1.0)},
        {**at, "gap_w_m2k": at["gap_w_m2k"] / factor},
        {**at, "melt_temp_c": at["melt_temp_c"] + 50.0 * (factor - 1.0)},
    ]
    columns = {name: np.array([row[name] for row in changed]) for name in at}
    times = freeze_walls(**columns, alloy=A356, die=H13)
    assert np.all(times.solid_s[1:] >= times.solid_s[0])
    assert np.all(np.abs(times.energy_residual) < 1e-10)
    for early, late in (
        (times.liquidus_s, times.coherency_s), (times.coherency_s, times.cutoff_s), (times.cutoff_s, times.solid_s),
        (times.surface_solid_s, times.solid_s), (times.surface_liquidus_s, times.surface_solid_s),
    ):  # fmt: skip
        assert np.all(early < late)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(inputs, st.floats(1.02, 3.0))
def test_a_better_film_never_delays_freezing(at: dict[str, float], factor: float) -> None:
    better = np.array([1.0, factor])
    common = {"die_temp_c": at["die_temp_c"], "melt_temp_c": at["melt_temp_c"], "alloy": A356, "die": H13}
    for gap in (at["contact_w_m2k"], at["gap_w_m2k"]):
        film = {"contact_w_m2k": at["contact_w_m2k"] * better, "gap_w_m2k": gap * better}
        times = freeze_walls(at["wall_mm"], **film, **common)
        assert times.solid_s[1] < times.solid_s[0]
        assert times.local_solidification_s[1] < times.local_solidification_s[0]


def test_better_contact_alone_can_delay_freezing() -> None:
    """The skin leaves the die sooner and the rest freezes through the gap: in a thick wall a net loss."""
    contact = np.array([2000.0, 20000.0])
    times = freeze_walls(40.0, alloy=A356, die=H13, contact_w_m2k=contact, gap_w_m2k=500.0, **NORMAL)
    assert times.surface_liquidus_s[1] < times.surface_liquidus_s[0]
    assert times.solid_s[1] > times.solid_s[0]


# A separate one-dimensional solution of a 10 mm wall at 1500 then 500 W/m2K: change of the time to solid.
SENSITIVITY = [
    ({"die_temp_c": 400.0}, 1.32), ({"die_temp_c": 300.0}, 0.80), ({"gap_w_m2k": 400.0}, 1.14),
    ({"gap_w_m2k": 650.0}, 0.87), ({"contact_w_m2k": 1200.0}, 1.05), ({"melt_temp_c": 660.0}, 0.96),
    ({"melt_temp_c": 720.0}, 1.04), ({"die_wall_mm": 20.0}, 0.99), ({"outer_w_m2k": 2000.0}, 0.96),
]  # fmt: skip


@pytest.mark.parametrize(("change", "ratio"), SENSITIVITY)
def test_time_answers_to_each_input_as_in_a_separate_solution(change: dict[str, float], ratio: float) -> None:
    base = {"contact_w_m2k": 1500.0, "gap_w_m2k": 500.0, **NORMAL, "alloy": A356, "die": H13}
    first, second = (freeze_walls(10.0, **{**base, **extra}).solid_s[0] for extra in ({}, change))
    assert second / first == pytest.approx(ratio, abs=0.025)


def test_die_surface_ends_as_warm_as_in_a_separate_solution() -> None:
    walls = [4.0, 6.0, 10.0, 15.0, 20.0, 30.0, 40.0]
    times = freeze_walls(walls, alloy=A356, die=H13, contact_w_m2k=1500.0, gap_w_m2k=1500.0, **NORMAL)
    np.testing.assert_allclose(times.die_surface_c, [428, 442, 459, 472, 481, 493, 502], atol=4.0)


def test_a_run_does_not_depend_on_the_runs_beside_it() -> None:
    walls = np.geomspace(3.0, 60.0, 70)
    kwargs = {"alloy": A356, "die": H13, "contact_w_m2k": 1500.0, "gap_w_m2k": 500.0, **NORMAL}
    together = freeze_walls(walls, **kwargs).solid_s
    alone = [freeze_walls(w, **kwargs).solid_s[0] for w in walls[::23]]
    np.testing.assert_array_equal(together[::23], alone)


@pytest.mark.parametrize("name", materials.alloy_names())
def test_every_alloy_freezes_in_order_and_keeps_its_heat(name: str) -> None:
    walls = [3.0, 12.0, 60.0]
    times = freeze_walls(walls, alloy=materials.alloy(name), die=H13, contact_w_m2k=1500.0, gap_w_m2k=500.0, **NORMAL)
    moments = np.stack([times.liquidus_s, times.coherency_s, times.cutoff_s, times.solid_s])
    assert np.all(np.diff(moments, axis=0) > 0.0)
    assert np.all(np.abs(times.energy_residual) < 1e-10)


@pytest.mark.parametrize("name", materials.die_material_names())
def test_every_die_freezes_a_wall_and_keeps_its_heat(name: str) -> None:
    cold = {"melt_temp_c": 700.0, "die_temp_c": 150.0}
    die = materials.die_material(name)
    times = freeze_walls([4.0, 20.0], alloy=A356, die=die, contact_w_m2k=900.0, gap_w_m2k=300.0, **cold)
    assert np.all(np.diff(times.solid_s) > 0.0)
    assert np.all(np.abs(times.energy_residual) < 1e-10)


def test_clock_stops_at_the_fraction_solid_asked_for() -> None:
    plate = (10.0, 1500.0, 500.0, 350.0, 690.0)
    stops = [float(wall_solid_time(*plate, until_fraction_solid=fs)) for fs in (0.05, 0.22, 0.5, 0.963, 1.0)]
    times = freeze_walls(10.0, alloy=A356, die=H13, contact_w_m2k=1500.0, gap_w_m2k=500.0, **NORMAL)
    assert stops == sorted(stops)
    assert stops[1] == pytest.approx(times.coherency_s[0], rel=1e-9)
    assert stops[-1] == pytest.approx(times.solid_s[0], rel=1e-12)
    with pytest.raises(InputError, match="until_fraction_solid"):
        wall_solid_time(*plate, until_fraction_solid=1.2)


def test_relation_keeps_the_shape_of_its_inputs() -> None:
    grid = wall_solid_time(np.array([[6.0], [12.0]]), 1500.0, np.array([400.0, 500.0, 600.0]), 350.0, 690.0)
    assert grid.shape == (2, 3)
    assert wall_solid_time(6.0, 1500.0, 400.0, 350.0, 690.0) == pytest.approx(grid[0, 0], rel=1e-12)


GOOD = {"wall_mm": 10.0, "contact_w_m2k": 1500.0, "gap_w_m2k": 500.0, **NORMAL}


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        ({"wall_mm": 0.0}, "wall_mm: 0 is not a positive number"),
        ({"wall_mm": [10.0, -3.0]}, "wall_mm: -3 is not a positive number"),
        ({"gap_w_m2k": float("nan")}, "gap_w_m2k: nan is not a positive number"),
        ({"contact_w_m2k": float("inf")}, "contact_w_m2k: inf is not"),
        ({"latent_heat_factor": -1.0}, "latent_heat_factor: -1 is not"),
        ({"die_temp_c": 560.0}, "never freezes"),
        ({"outer_temp_c": 600.0}, "never freezes"),
        ({"melt_temp_c": 600.0}, "below the liquidus"),
        ({"die_temp_c": -300.0}, "above absolute zero"),
        ({"cells": 1}, "too few"),
    ],
)
def test_impossible_walls_are_refused_in_words(bad: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        freeze_walls(**{**GOOD, **bad}, alloy=A356, die=H13)  # type: ignore[arg-type]


def test_a_wall_that_stays_liquid_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(wall_march, "MOST_STEPS", 50)
    with pytest.raises(InputError, match="still liquid"):
        freeze_walls(**GOOD, alloy=A356, die=H13)

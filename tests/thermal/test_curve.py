"""The freezing curve against the wall solution it interpolates."""

from __future__ import annotations

import time
from typing import Any

import numpy as np
import pytest

from castq import materials
from castq.core.errors import InputError
from castq.thermal.curve import FreezingCurve, freezing_curve
from castq.thermal.wall import freeze_walls

DRAWS = 4
RNG = np.random.default_rng(7)
INPUTS: dict[str, Any] = {
    "alloy": materials.alloy("A356"),
    "die": materials.die_material("H13"),
    "melt_temp_c": 700.0 + 5.0 * RNG.standard_normal(DRAWS),
    "die_temp_c": 350.0 + 25.0 * RNG.standard_normal(DRAWS),
    "contact_w_m2k": 1500.0 * np.exp(0.3 * RNG.standard_normal(DRAWS)),
    "gap_w_m2k": 500.0 * np.exp(0.3 * RNG.standard_normal(DRAWS)),
    "latent_heat_factor": np.exp(0.04 * RNG.standard_normal(DRAWS)),
    "conductivity_factor": np.exp(0.1 * RNG.standard_normal(DRAWS)),
}


def one_draw(d: int) -> dict[str, Any]:
    return {name: value[d] if isinstance(value, np.ndarray) else value for name, value in INPUTS.items()}


@pytest.fixture(scope="module")
def curve() -> FreezingCurve:
    return freezing_curve(**INPUTS, wall_range_mm=(3.0, 80.0))


def test_interpolation_is_within_a_tenth_of_a_percent_of_the_wall_solution(curve: FreezingCurve) -> None:
    walls = np.geomspace(3.0, 80.0, 61)
    found = curve.times(walls)
    for d in range(DRAWS):
        exact = freeze_walls(walls, **one_draw(d))
        for name in ("local_solidification_s", "solid_s", "coherency_s"):
            np.testing.assert_allclose(getattr(found, name)[:, d], getattr(exact, name), rtol=1e-3, err_msg=name)
        np.testing.assert_allclose(found.cutoff_s[:, d], exact.cutoff_s, rtol=2e-3)
        # The instant of the liquidus is short and carries the step from one number of cells to the next.
        np.testing.assert_allclose(found.liquidus_s[:, d], exact.liquidus_s, rtol=6e-3)
        np.testing.assert_allclose(found.surface_solid_s[:, d], exact.surface_solid_s, rtol=6e-3)
        np.testing.assert_allclose(found.die_surface_c[:, d], exact.die_surface_c, atol=0.2)


def test_times_rise_with_the_wall(curve: FreezingCurve) -> None:
    found = curve.times(np.linspace(3.0, 80.0, 500))
    for name in ("liquidus_s", "coherency_s", "cutoff_s", "solid_s", "local_solidification_s"):
        assert np.all(np.diff(getattr(found, name), axis=0) > 0.0)


def test_solved_walls_are_met_and_heat_is_kept(curve: FreezingCurve) -> None:
    found = curve.times(curve.wall_mm)
    np.testing.assert_allclose(found.solid_s, curve.solved.solid_s, rtol=1e-10)
    assert found.energy_residual.shape == found.solid_s.shape
    assert np.all(found.energy_residual < 1e-10)


def test_walls_of_each_draw_agree_with_walls_shared_by_all(curve: FreezingCurve) -> None:
    walls = np.array([3.0, 7.7, 20.0, 80.0])
    shared = curve.times(walls)
    own = curve.times(np.repeat(walls[:, None], DRAWS, axis=1))
    for name in ("cutoff_s", "solid_s", "die_surface_c"):
        np.testing.assert_allclose(getattr(own, name), getattr(shared, name), rtol=1e-10)
    moved = curve.times(walls[:, None] * np.array([1.0, 1.0, 1.05, 1.0]))
    assert np.all(moved.solid_s[:, 2] > shared.solid_s[:, 2])
    np.testing.assert_allclose(moved.solid_s[:, 0], shared.solid_s[:, 0], rtol=1e-10)


def test_a_narrow_range_is_served_too() -> None:
    narrow = freezing_curve(**INPUTS, wall_range_mm=(9.5, 10.5))
    exact = freeze_walls(10.0, **one_draw(1))
    assert narrow.times([10.0]).solid_s[0, 1] == pytest.approx(exact.solid_s[0], rel=5e-4)


@pytest.mark.parametrize("walls", [[2.0], [100.0], [float("nan")], [[10.0, 10.0, 10.0, 500.0]]])
def test_walls_far_outside_are_refused(curve: FreezingCurve, walls: list[Any]) -> None:
    with pytest.raises(InputError, match="outside the solved walls"):
        curve.times(walls)


@pytest.mark.parametrize("limits", [(5.0, 5.0), (0.0, 10.0), (10.0, 5.0), (5.0, float("inf"))])
def test_a_range_that_is_none_is_refused(limits: tuple[float, float]) -> None:
    with pytest.raises(InputError, match="is not a range"):
        freezing_curve(**INPUTS, wall_range_mm=limits)


def test_many_zones_over_many_draws_are_cheap() -> None:
    """About 0.05 s of processor time; the limit leaves room for a slow or shared machine."""
    draws = 128
    wide = freezing_curve(**{**INPUTS, **{n: np.resize(v, draws) for n, v in INPUTS.items() if np.ndim(v)}},
                          wall_range_mm=(3.0, 80.0))  # fmt: skip
    walls = np.linspace(3.0, 80.0, 4800)
    spent = []
    for _ in range(3):
        start = time.process_time()
        assert wide.times(walls).solid_s.shape == (4800, draws)
        spent.append(time.process_time() - start)
    assert min(spent) < 0.25

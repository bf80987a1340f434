"""Fatigue: direction of each cause, limits, and the other published forms beside the default."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from castq.physics import fatigue

QUICK = settings(derandomize=True, deadline=None, max_examples=60)


@QUICK
@given(st.floats(12.0, 90.0), st.floats(0.0, 1000.0), st.floats(0.1, 200.0))
def test_larger_pore_never_raises_strength(sdas: float, size: float, more: float) -> None:
    small, large = fatigue.fatigue_strength(sdas, [size, size + more])
    assert large < small


def test_without_a_pore_the_structure_sets_the_strength() -> None:
    fine, coarse = fatigue.fatigue_strength([20.0, 40.0], 0.0)
    assert fine == pytest.approx(110.0)
    assert coarse / fine == pytest.approx(2.0**-0.25)


def test_large_pores_follow_the_long_crack_threshold() -> None:
    # Far above the intrinsic size the law is a constant stress intensity: 0.65 x 110 x sqrt(pi x 400 um) = 2.535.
    size = np.array([4e7, 8e7])
    strength = fatigue.fatigue_strength(20.0, size)
    np.testing.assert_allclose(fatigue.stress_intensity(strength, size), 2.5346, rtol=1e-4)
    np.testing.assert_allclose(fatigue.threshold_stress(size, 2.5346), strength, rtol=1e-4)


def test_published_castings_lie_within_two_bands() -> None:
    # Endurance of A356 and AlSi7Mg castings, 59 to 110 MPa, sand to squeeze (datasets/published/tensile_rows.csv).
    strengths = fatigue.fatigue_strength(np.array([20.0, 30.0, 50.0, 80.0]), np.array([50.0, 100.0, 300.0, 600.0]))
    assert np.all(strengths < 110.0 * 1.2)
    assert np.all(strengths > 59.0 * 0.6)
    assert np.all(np.diff(strengths) < 0)


def test_steel_form_reads_far_higher_than_the_default() -> None:
    size = np.array([100.0, 200.0, 400.0])
    ratio = fatigue.fatigue_limit_murakami(105.0, size) / fatigue.fatigue_strength(28.0, size)
    assert np.all((ratio > 1.4) & (ratio < 1.75))
    inside = fatigue.fatigue_limit_murakami(105.0, size, fatigue.MURAKAMI_INTERIOR)
    np.testing.assert_allclose(inside / fatigue.fatigue_limit_murakami(105.0, size), 1.56 / 1.43)


@QUICK
@given(st.floats(40.0, 110.0), st.floats(5e4, 1e7), st.floats(1.0, 10.0))
def test_longer_life_means_lower_stress(strength: float, cycles: float, times: float) -> None:
    short, long = fatigue.stress_amplitude_at_life(strength, [cycles, cycles * times])
    assert long <= short
    assert fatigue.stress_amplitude_at_life(strength, 1e7) == pytest.approx(strength)


def test_yield_caps_short_lives() -> None:
    np.testing.assert_allclose(fatigue.stress_amplitude_at_life(100.0, [1e2, 1e7], ys_mpa=200.0), [200.0, 100.0])


@QUICK
@given(st.floats(20.0, 200.0), st.floats(20.0, 2000.0))
def test_threshold_stress_undoes_the_stress_intensity(stress: float, size: float) -> None:
    reached = fatigue.stress_intensity(stress, size)
    assert fatigue.threshold_stress(size, reached) == pytest.approx(stress)


def test_life_ratio_is_one_at_the_reference_and_multiplies() -> None:
    assert fatigue.life_ratio(1.0) == 1.0
    assert fatigue.life_ratio(6.0, 1.5) == pytest.approx(fatigue.life_ratio(2.0) * fatigue.life_ratio(3.0, 1.5))
    assert fatigue.life_ratio(2.0) < 1.0 < fatigue.life_ratio(1.0, 0.9)


def test_round_pore_takes_its_circle() -> None:
    assert fatigue.pore_sqrt_area(200.0) ** 2 == pytest.approx(np.pi * 100.0**2)

"""Elongation: the default law, its factors, and the instability models against other routes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from castq.physics import ductility

QUICK = settings(derandomize=True, deadline=None, max_examples=60)


@QUICK
@given(st.floats(12.0, 90.0), st.floats(100.0, 300.0), st.floats(0.0, 0.2), st.floats(11.0, 25.0), st.floats(0.1, 1.5))
def test_chain_is_the_product_of_its_parts(sdas: float, ys: float, f: float, decay: float, factor: float) -> None:
    sound = 0.56 * (20.0 / sdas) ** 0.8 * (36.0 - 0.064 * ys)
    assert ductility.elongation(sdas, ys, f, decay, factor) == pytest.approx(sound * np.exp(-decay * f) * factor)


def test_sound_elongation_halves_with_spacing_as_the_exponent_says() -> None:
    fine, coarse = ductility.elongation_sound([20.0, 40.0], 220.0)
    assert coarse / fine == pytest.approx(2.0**-0.8)


def test_elongation_is_never_negative() -> None:
    assert ductility.elongation_sound(30.0, 600.0) == 0.0


def test_iron_only_counts_above_its_threshold_and_always_downwards() -> None:
    factor = ductility.iron_factor(np.linspace(0.0, 0.65, 66))
    assert np.all(factor[:12] == 1.0)
    assert np.all(np.diff(factor[13:]) < 0)
    assert ductility.iron_critical(7.0) > 0.12


def test_strontium_and_solution_time_help_up_to_their_plateaus() -> None:
    assert np.all(np.diff(ductility.modification_factor(np.linspace(0.0, 200.0, 21))) >= 0)
    assert np.all(np.diff(ductility.modification_factor(0.0, np.linspace(0.0, 12.0, 13))) >= 0)
    assert ductility.modification_factor(0.0, 0.0) == ductility.modification_factor(20.0, 1.0) == 0.5
    assert ductility.modification_factor(250.0, 0.0) == 1.0


@QUICK
@given(st.floats(0.05, 0.24), st.floats(1.0, 12.0), st.floats(0.001, 0.24))
def test_imperfection_balances_the_load_below_necking(n: float, sound: float, f: float) -> None:
    got = float(np.log1p(ductility.elongation_imperfection(n, sound, f) / 100.0))
    critical = min(np.log1p(sound / 100.0), n)

    def load(strain: float) -> float:
        return float(strain**n * np.exp(-strain))

    assert got == pytest.approx(
        brentq(lambda e: load(e) - (1 - f) * load(critical), 1e-30, n, xtol=1e-15), rel=1e-5, abs=1e-9
    )
    assert got < critical


def test_no_defect_leaves_the_sound_elongation() -> None:
    np.testing.assert_allclose(ductility.elongation_imperfection(0.10, [3.0, 8.0], 0.0), [3.0, 8.0], rtol=1e-9)
    np.testing.assert_allclose(ductility.elongation_imperfection_rate(0.10, [3.0, 8.0], 0.0), [3.0, 8.0], rtol=1e-9)
    # A metal that would neck first is held at the uniform strain.
    assert ductility.elongation_imperfection(0.10, 30.0, 0.0) == pytest.approx(100.0 * np.expm1(0.10), rel=1e-5)


@pytest.mark.parametrize("m", [0.005, 0.01])
def test_rate_form_solves_its_integral_equation(m: float) -> None:
    n, sound, f = 0.12, 6.0, 0.03

    def area(end: float) -> float:
        return float(quad(lambda e: np.exp(-e / m) * (e / 0.05) ** (n / m), 0.0, end, epsabs=0.0)[0])

    end = float(np.log1p(ductility.elongation_imperfection_rate(n, sound, f, m) / 100.0))
    assert area(end) == pytest.approx((1.0 - f) ** (1.0 / m) * area(float(np.log1p(sound / 100.0))), rel=1e-6)


def test_rate_sensitivity_helps_and_vanishes_with_its_exponent() -> None:
    plain = float(ductility.elongation_imperfection(0.10, 8.0, 0.02))
    rate = ductility.elongation_imperfection_rate(0.10, 8.0, 0.02, [0.0005, 0.005, 0.01])
    assert plain < rate[0] < rate[1] < rate[2]
    assert rate[0] == pytest.approx(plain, rel=0.02)


def test_default_decay_runs_among_the_model_curves() -> None:
    f = np.array([0.01, 0.02, 0.05])
    brittle = ductility.elongation_imperfection(0.10, 5.0, f) / 5.0
    tough = ductility.elongation_imperfection(0.145, 15.6, f) / 15.6
    default = ductility.defect_factor(f)
    assert np.all(default < brittle * 1.05)
    assert np.all(default > tough * 0.95)

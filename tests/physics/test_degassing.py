"""Degassing kinetics against a brute-force solution of their equations, and the laws that must hold everywhere."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from castq.physics.damp_air import dew_point, humid_air_hydrogen, vapour_hydrogen, vapour_pressure
from castq.physics.degassing import (
    hydrogen_after,
    minutes_to_limit,
    minutes_to_target,
    practical_floor,
    steady_hydrogen,
)
from castq.physics.density_index import (
    density_index,
    density_index_bound,
    density_index_from_hydrogen,
    hydrogen_equivalent,
    sample_density,
)
from castq.physics.melt_clocks import settling_minutes, settling_speed, strontium_hours, strontium_left
from castq.physics.porosity import gas_porosity_bound
from castq.physics.purge_gas import (
    balanced_minutes,
    diffusion_rate,
    purge_gas_minutes,
    purge_gas_rate,
    purge_gas_saturation,
    transfer_hydrogen,
)

MELT_KG, GAS, SOLUBILITY, TRANSFER = 500.0, 20.0, 0.68246, 1e-3


def passing_time(fall, start: float, target: float) -> float:
    """Return the time at which dH/dt = -fall(H) has come down to a target, by an adaptive solver."""

    def reached(_time: float, state: np.ndarray) -> float:
        return float(state[0] - target)

    reached.terminal = True
    answer = solve_ivp(
        lambda _t, h: [-fall(float(h[0]))], (0.0, 500.0), [start], events=reached, rtol=1e-10, atol=1e-12
    )
    return float(answer.t_events[0][0])


def leaving_share(ratio: float) -> float:
    """Return the saturation of the leaving bubble by a bracketing root finder."""
    return float(brentq(lambda y: -np.log1p(-y) - y - ratio, 0.0, 1.0 - 1e-16, xtol=1e-15))


def fall_by_gas(hydrogen: float) -> float:
    """Return the purge gas rate from its mass-transfer form, apart from the relations."""
    psi = 720.0 * TRANSFER * SOLUBILITY**2 / GAS
    return 100.0 * GAS / (MELT_KG * SOLUBILITY**2) * (hydrogen * leaving_share(psi / hydrogen)) ** 2


def test_first_order_minutes_are_those_of_the_equation() -> None:
    brute = passing_time(lambda h: 0.18 * (h - 0.06), 0.28, 0.10)
    assert minutes_to_target(0.28, 0.10, 0.06, 0.18) == pytest.approx(brute, rel=1e-7)


def test_two_inflows_settle_at_the_steady_level() -> None:
    steady = float(steady_hydrogen(0.15, 0.02, 0.17, 0.01))
    after = solve_ivp(lambda _t, h: -0.15 * (h - 0.01) - 0.02 * (h - 0.17), (0.0, 10.0), [0.3], rtol=1e-10, atol=1e-12)
    assert hydrogen_after(0.3, steady, 0.17, 10.0) == pytest.approx(after.y[0, -1], rel=1e-7)


def test_holding_minutes_are_those_of_the_equation() -> None:
    brute = passing_time(lambda h: 0.005 * (h - 0.05), 0.1716 + 0.05 - 0.09, 0.1716 + 0.05 - 0.12)
    assert minutes_to_limit(0.09, 0.12, 0.1716, 0.005) == pytest.approx(brute, rel=1e-6)


def test_gas_limited_minutes_are_those_of_the_equation() -> None:
    strength = 100.0 * 20.0 * 0.15 / (500.0 * 0.6825**2)
    brute = passing_time(lambda h: strength * (h * h - 0.06**2), 0.28, 0.10)
    assert balanced_minutes(0.28, 0.10, 0.06, 20.0 / 500.0, 0.6825, 0.15) == pytest.approx(brute, rel=1e-7)


@pytest.mark.parametrize("floor", [0.0, 0.04, 0.06, 0.0995])
def test_purge_gas_minutes_are_those_of_the_equation(floor: float) -> None:
    inflow = fall_by_gas(floor) if floor else 0.0
    brute = passing_time(lambda h: fall_by_gas(h) - inflow, 0.28, 0.10)
    rate = diffusion_rate(TRANSFER, MELT_KG)
    minutes = purge_gas_minutes(0.28, 0.10, floor, rate, GAS / MELT_KG, SOLUBILITY)
    assert minutes == pytest.approx(brute, rel=1e-6)


@settings(max_examples=200, derandomize=True, deadline=None)
@given(st.floats(1e-12, 700.0))
def test_saturation_is_the_root(ratio: float) -> None:
    share = float(purge_gas_saturation(ratio))
    assert 0.0 < share <= 1.0
    if 1e-4 < ratio < 15.0:  # beyond, 1 - y has too few digits left
        assert -np.log1p(-share) - share == pytest.approx(ratio, rel=1e-8)


@settings(max_examples=100, derandomize=True, deadline=None)
@given(st.floats(0.12, 0.5), st.floats(0.0, 0.09), st.floats(0.02, 0.6), st.floats(0.005, 0.2))
def test_purge_gas_is_slower_than_both_of_its_limits(start: float, floor: float, rate: float, gas: float) -> None:
    minutes = float(purge_gas_minutes(start, 0.10, floor, rate, gas, SOLUBILITY))
    assert minutes >= float(balanced_minutes(start, 0.10, floor, gas, SOLUBILITY)) * (1 - 1e-9)
    assert float(purge_gas_rate(start, rate, gas, SOLUBILITY)) <= rate * start * (1 + 1e-9)


def test_psi_written_with_rate_is_psi_written_with_mass_transfer() -> None:
    psi = transfer_hydrogen(diffusion_rate(TRANSFER, MELT_KG), MELT_KG, GAS, SOLUBILITY)
    assert psi == pytest.approx(720.0 * TRANSFER * SOLUBILITY**2 / GAS, rel=1e-12)


def test_relations_broadcast_over_arrays() -> None:
    start = np.array([[0.2], [0.3]])
    assert minutes_to_target(start, 0.1, [0.05, 0.06, 0.2], 0.18).shape == (2, 3)
    assert purge_gas_minutes(start, 0.1, [0.05, 0.06, 0.2], 0.18, 0.04, 0.68).shape == (2, 3)
    assert np.isinf(purge_gas_minutes(start, 0.1, 0.2, 0.18, 0.04, 0.68)).all()


@settings(max_examples=200, derandomize=True, deadline=None)
@given(st.floats(0.0, 0.6), st.floats(30.0, 300.0))
def test_density_index_stays_within_its_bound(hydrogen: float, pressure: float) -> None:
    index = float(density_index_from_hydrogen(hydrogen, pressure))
    assert 0.0 <= index <= float(density_index_bound(hydrogen, pressure)) + 1e-12 or hydrogen > 0.35
    assert float(density_index_from_hydrogen(hydrogen + 0.01, pressure)) >= index


def test_bound_is_the_index_of_two_samples_with_the_gas_of_the_bound() -> None:
    reduced, normal = gas_porosity_bound(0.2, 80.0 / 1013.25), gas_porosity_bound(0.2, 1.0)
    index = density_index(2.7 * (1 - normal / 100), 2.7 * (1 - reduced / 100))
    assert density_index_bound(0.2, 80.0) == pytest.approx(float(index), rel=1e-12)


@settings(max_examples=100, derandomize=True, deadline=None)
@given(st.floats(0.0, 30.0), st.floats(30.0, 300.0))
def test_equivalent_is_the_inverse_of_the_closure(index: float, pressure: float) -> None:
    back = float(density_index_from_hydrogen(hydrogen_equivalent(index, pressure), pressure))
    assert back == pytest.approx(index, rel=1e-9, abs=1e-9)


def test_balance_error_spreads_into_density_and_index_as_error_propagation_says() -> None:
    rng = np.random.default_rng(5)
    air = 80.0 + rng.normal(0.0, 0.01, (20000, 2))
    water = 50.0 + rng.normal(0.0, 0.01, (20000, 2))
    density = sample_density(air, water)
    expected = 0.01 * np.hypot(80.0, 50.0) / 30.0**2
    assert density.std(axis=0) == pytest.approx([expected, expected], rel=0.03)
    index = density_index(density[:, 0], density[:, 1])
    assert index.std() == pytest.approx(100.0 * expected * np.sqrt(2.0) / 2.663, rel=0.03)


def test_dew_point_and_humidity_give_one_level() -> None:
    vapour = vapour_pressure(30.0, 70.0)
    assert vapour_hydrogen(720.0, vapour) == pytest.approx(float(humid_air_hydrogen(720.0, 30.0, 70.0)), rel=1e-12)
    assert vapour_pressure(dew_point(vapour), 100.0) == pytest.approx(float(vapour), rel=1e-9)


def test_floor_never_falls_below_that_of_dry_weather() -> None:
    assert practical_floor([0.0, 0.1, 0.2]).tolist() == pytest.approx([0.06, 0.06, 0.12])


def test_fade_clocks_meet_their_limits() -> None:
    hours = strontium_hours(150.0, 80.0)
    assert strontium_left(150.0, hours) == pytest.approx(80.0, rel=1e-12)
    minutes = settling_minutes(600.0, settling_speed(2.0), 0.25)
    assert float(minutes) / 60.0 * float(settling_speed(2.0)) == pytest.approx(150.0, rel=1e-12)

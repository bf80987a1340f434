"""Gas porosity: which way it goes, what it can never exceed, and the hydrogen limit that inverts it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from castq.physics.hydrogen import solubility_solid
from castq.physics.hydrogen_freezing import threshold_hydrogen
from castq.physics.pore_size import defect_area_fraction, largest_pore_diameter, mean_pore_diameter
from castq.physics.porosity import (
    capillary_pressure,
    gas_porosity,
    gas_porosity_bound,
    hydrogen_limit,
    metal_pressure,
    site_factor,
)

hydrogens = st.floats(0.02, 0.45)
times = st.floats(3.0, 300.0)
pressures = st.floats(0.8, 3.0)
factors = st.floats(0.5, 2.6)
taus = st.floats(30.0, 120.0)
steps = st.floats(1e-4, 2.0)


def arms(time_s: float) -> float:
    """Return the arm spacing that goes with a freezing time [um]."""
    return float(10.0 * np.cbrt(time_s))


@given(hydrogen=hydrogens, step=steps, time_s=times, pressure=pressures, factor=factors)
def test_more_hydrogen_never_lowers_porosity(
    hydrogen: float, step: float, time_s: float, pressure: float, factor: float
) -> None:
    low, high = gas_porosity([hydrogen, hydrogen + step], time_s, arms(time_s), pressure, factor)
    assert high >= low >= 0


@given(hydrogen=hydrogens, time_s=times, step=st.floats(0.01, 200.0), pressure=pressures, factor=factors)
def test_longer_freezing_never_lowers_porosity(
    hydrogen: float, time_s: float, step: float, pressure: float, factor: float
) -> None:
    long_s = time_s + step
    low, high = gas_porosity(hydrogen, [time_s, long_s], [arms(time_s), arms(long_s)], pressure, factor)
    assert high >= low * (1 - 1e-12)


@given(hydrogen=hydrogens, time_s=times, pressure=pressures, step=steps, factor=factors)
def test_more_pressure_never_raises_porosity(
    hydrogen: float, time_s: float, pressure: float, step: float, factor: float
) -> None:
    high, low = gas_porosity(hydrogen, time_s, arms(time_s), [pressure, pressure + step], factor)
    assert low <= high


@given(
    hydrogen=hydrogens, time_s=st.floats(3.0, 5000.0), sdas=st.floats(5.0, 300.0), pressure=pressures, factor=factors
)
def test_no_porosity_above_the_bound_without_capillarity(
    hydrogen: float, time_s: float, sdas: float, pressure: float, factor: float
) -> None:
    bound = gas_porosity_bound(hydrogen, pressure)
    assert gas_porosity(hydrogen, time_s, sdas, pressure) <= bound
    assert gas_porosity(hydrogen, time_s, sdas, pressure, factor) <= bound


@given(hydrogen=st.floats(0.06, 0.45), time_s=times, pressure=pressures, factor=st.floats(0.5, 1.0))
def test_the_ceiling_never_touches_an_estimate_without_a_raising_factor(
    hydrogen: float, time_s: float, pressure: float, factor: float
) -> None:
    pore_pressure = pressure + float(capillary_pressure(arms(time_s)))
    stated = gas_porosity_bound(hydrogen, pore_pressure) * time_s / (time_s + 60.0) * factor
    stated = stated if hydrogen > threshold_hydrogen(0.9, pore_pressure) else 0.0
    assert gas_porosity(hydrogen, time_s, arms(time_s), pressure, factor) == pytest.approx(stated, rel=1e-12)


@given(pressure=st.floats(0.05, 5.0), share=st.floats(0.0, 1.0))
def test_bound_is_zero_up_to_the_solid_solubility_and_grows_beyond_it(pressure: float, share: float) -> None:
    held = float(solubility_solid(577.0)) * np.sqrt(pressure)
    assert gas_porosity_bound(share * held * (1 - 1e-12), pressure) == 0
    assert 0 < gas_porosity_bound(held * 1.001, pressure) < 0.01


def porosity_step(hydrogen: float, fast: float, ratio: float, tau: float, pressure: float, factor: float) -> float:
    """Return the porosity of a slow design less that of a fast one [%]."""
    pair = [fast, fast * ratio], [arms(fast), arms(fast * ratio)]
    return float(np.diff(gas_porosity(hydrogen, *pair, pressure, factor, tau))[0])


@given(hydrogen=hydrogens, fast=times, ratio=st.floats(1.05, 5.0), tau=taus, pressure=pressures, factor=factors)
def test_the_better_design_is_the_same_for_every_time_constant(
    hydrogen: float, fast: float, ratio: float, tau: float, pressure: float, factor: float
) -> None:
    moderate = min(factor, 1.0)
    steps_pct = [porosity_step(hydrogen, fast, ratio, t, pressure, moderate) for t in (tau, 60.0)]
    assert (steps_pct[0] > 0) == (steps_pct[1] > 0)
    # Where a raising factor meets the bound, two designs can tie; the order never turns.
    assert porosity_step(hydrogen, fast, ratio, tau, pressure, factor) >= -1e-13


@given(limit=st.floats(0.0, 3.0), time_s=times, pressure=pressures, factor=factors, tau=taus)
def test_hydrogen_limit_is_the_highest_that_keeps_the_limit(
    limit: float, time_s: float, pressure: float, factor: float, tau: float
) -> None:
    rest = (time_s, arms(time_s), pressure, factor, tau)
    hydrogen = float(hydrogen_limit(limit, *rest))
    if np.isinf(hydrogen):
        assert gas_porosity(1e6, *rest) <= limit
    else:
        assert gas_porosity(hydrogen, *rest) <= limit + 1e-9
        assert gas_porosity(hydrogen + 1e-9 * max(hydrogen, 1.0), *rest) > limit - 1e-12
        assert gas_porosity(hydrogen + 1e-6 * max(hydrogen, 1.0), *rest) > limit


@given(hydrogen=st.floats(0.05, 0.45), time_s=times, pressure=pressures, factor=factors)
def test_hydrogen_limit_takes_a_porosity_back_to_its_hydrogen(
    hydrogen: float, time_s: float, pressure: float, factor: float
) -> None:
    rest = (time_s, arms(time_s), pressure, factor)
    porosity = float(gas_porosity(hydrogen, *rest))
    back = float(hydrogen_limit(porosity, *rest))
    pore_pressure = pressure + float(capillary_pressure(arms(time_s)))
    expected = hydrogen if porosity > 0 else float(threshold_hydrogen(0.9, pore_pressure))
    assert back == pytest.approx(expected, abs=1e-9)


def test_hydrogen_limit_at_its_ends() -> None:
    assert hydrogen_limit(-0.2, 50.0, 36.8) == 0.0
    assert np.isinf(hydrogen_limit(100.0, 50.0, 36.8))
    assert np.isnan(hydrogen_limit(np.nan, 50.0, 36.8))


def test_hold_pressure_given_in_the_wrong_unit_would_be_seen() -> None:
    right = metal_pressure(300.0, 0.8)
    assert right == pytest.approx(1.0 + 0.0711 + 0.7895, abs=1e-3)
    assert metal_pressure(300.0, 80.0) > 50
    assert metal_pressure(300.0, 0.8, 0.0) == pytest.approx(metal_pressure(300.0), rel=1e-12)


def test_half_a_bar_of_hold_buys_about_a_quarter_only_while_the_path_is_open() -> None:
    def porosity(open_share: float) -> float:
        return float(gas_porosity(0.12, 50.0, arms(50.0), metal_pressure(0.0, 0.5, open_share)))

    assert 1 - porosity(1.0) / porosity(0.0) == pytest.approx(0.25, abs=0.02)
    assert porosity(0.0) == float(gas_porosity(0.12, 50.0, arms(50.0)))


def test_a_design_that_freezes_in_two_thirds_of_the_time_wins_by_a_quarter() -> None:
    slow, fast = gas_porosity(0.12, [60.0, 40.0], [arms(60.0), arms(40.0)])
    assert 1 - fast / slow == pytest.approx(0.256, abs=0.002)


@given(strontium=st.floats(0.0, 400.0), step=st.floats(0.1, 100.0), cleanliness=st.floats(0.5, 2.0))
def test_strontium_and_oxides_never_lower_porosity(strontium: float, step: float, cleanliness: float) -> None:
    assert site_factor(strontium + step, cleanliness) >= site_factor(strontium, cleanliness)
    assert cleanliness <= site_factor(strontium, cleanliness) <= 1.3 * cleanliness


@given(porosity=st.floats(1e-3, 5.0), density=st.floats(1.0, 20.0))
def test_pores_of_the_mean_size_hold_the_porosity(porosity: float, density: float) -> None:
    diameter_mm = mean_pore_diameter(porosity, density) / 1000
    assert 100 * density * np.pi / 6 * diameter_mm**3 == pytest.approx(porosity, rel=1e-12)
    assert largest_pore_diameter(diameter_mm) > diameter_mm
    assert porosity / 100 < defect_area_fraction(porosity) <= 1


def test_zones_and_draws_broadcast() -> None:
    draws = np.linspace(0.08, 0.2, 5)
    times_s = np.array([[10.0], [40.0], [90.0]])
    table = gas_porosity(draws, times_s, 10 * np.cbrt(times_s))
    assert table.shape == (3, 5)
    assert table[1, 2] == gas_porosity(draws[2], 40.0, arms(40.0))

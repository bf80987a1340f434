"""Closed-form freezing times: agreement between them where they must agree, and the form each one has."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from castq.core.relation import trace
from castq.physics.freezing import (
    adams_time,
    chvorinov_time,
    heating_die_time,
    interface_limited_time,
    local_solidification_time,
    lumped_cooling_time,
    mean_cooling_rate,
    sand_mould_constant,
)


def test_chvorinov_in_sand_is_the_constant_of_the_mould() -> None:
    """A plate of modulus M fills the mould with its heat: 2 e dT sqrt(t/pi) = rho H M."""
    constant = sand_mould_constant(430.0, 1017.0, 590.0, 25.0)
    seconds = chvorinov_time(np.array([5.0, 10.0]), constant)
    taken = 2.0 * 1017.0 * 565.0 * np.sqrt(seconds / np.pi)
    np.testing.assert_allclose(taken, 2400.0 * 430e3 * np.array([0.005, 0.010]), rtol=1e-12)


def test_exponent_makes_the_rule_scale() -> None:
    assert chvorinov_time(20.0, 7.68, 1.23) / chvorinov_time(10.0, 7.68, 1.23) == pytest.approx(2.0**1.23)


@pytest.mark.parametrize("film", [200.0, 1500.0, 8000.0])
@pytest.mark.parametrize("effusivity", [3000.0, 10800.0, 28500.0])
@pytest.mark.parametrize("modulus", [0.5, 5.0, 40.0])
def test_heating_die_closes_its_heat_balance(film: float, effusivity: float, modulus: float) -> None:
    """The heat that passes film and die until the returned time, by quadrature, is the heat of the section."""
    seconds = float(heating_die_time(modulus, 565.0, film, 227.0, effusivity))
    slope = 2.0 / (np.sqrt(np.pi) * effusivity)
    heat, _ = quad(lambda x: 2.0 * x * 227.0 / (1.0 / film + slope * x), 0.0, np.sqrt(seconds), epsrel=1e-12)
    assert heat == pytest.approx(2450.0 * 565e3 * modulus * 1e-3, rel=1e-9)


def test_heating_die_converges_to_round_off_over_twelve_decades() -> None:
    modulus = np.geomspace(1e-3, 1e4, 60)
    seconds = heating_die_time(modulus, 565.0, 1500.0, 227.0)
    for m, t in zip(modulus[::7], seconds[::7], strict=True):
        level = 0.5 * 2450.0 * 565e3 * m * 1e-3 / 227.0 * (2.0 / np.sqrt(np.pi) / 10800.0) ** 2 * 1500.0
        high = 2.0 * level + 3.0 * np.sqrt(level) + 1.0
        root = brentq(lambda y, q=level: y - np.log1p(y) - q, 0.0, high, xtol=1e-300, rtol=1e-14)
        assert t == pytest.approx((root * np.sqrt(np.pi) * 10800.0 / 2.0 / 1500.0) ** 2, rel=1e-8)
    assert np.all(np.diff(seconds) > 0.0)


def test_heating_die_never_freezes_sooner_than_a_die_that_stays_cold() -> None:
    modulus = np.array([2.0, 5.0, 10.0, 20.0])
    warm = heating_die_time(modulus, 565.0, 1500.0, 227.0)
    cold = interface_limited_time(modulus, 565.0, 1500.0, 577.0, 350.0, density_kg_m3=2450.0)
    assert np.all(warm > cold)
    assert np.all(np.diff(warm / cold) > 0.0)


def test_adams_adds_the_shell_to_the_interface() -> None:
    film_only = interface_limited_time(5.0, 430.0, 1500.0, 577.0, 350.0, density_kg_m3=2550.0)
    both = adams_time(5.0, 430.0, 1500.0, 227.0)
    assert both - film_only == pytest.approx(2550.0 * 430e3 / 227.0 * 0.005**2 / 300.0, rel=1e-12)


def test_lumped_plate_cools_in_stages_that_add_up() -> None:
    whole = lumped_cooling_time(5.0, 1100.0, 1500.0, 205.0, 150.0)
    parts = lumped_cooling_time(5.0, 1100.0, 1500.0, np.array([205.0, 180.0]), np.array([180.0, 150.0]))
    assert parts.sum() == pytest.approx(float(whole), rel=1e-12)


def test_cooling_rate_and_time_are_inverse() -> None:
    seconds = np.array([3.0, 17.0291, 290.0])
    np.testing.assert_allclose(local_solidification_time(58.0, mean_cooling_rate(58.0, seconds)), seconds, rtol=1e-14)


def test_relations_broadcast_zones_over_draws() -> None:
    grid = heating_die_time(np.array([[3.0], [6.0]]), 565.0, np.array([1000.0, 1500.0, 2000.0]), 227.0)
    assert grid.shape == (2, 3)
    assert np.all(np.diff(grid, axis=1) < 0.0)


def test_a_section_outside_the_range_is_noted() -> None:
    with trace() as opened:
        heating_die_time(np.array([5.0, 60.0]), 565.0, 1500.0, 227.0)
    np.testing.assert_array_equal(opened.excursions["heating-die-time", "modulus_mm"], [0, 3])

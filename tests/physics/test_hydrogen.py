"""Hydrogen: invariants of solubility, alloy factor, damp air and segregation."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from castq.core.quantities import parse_quantity
from castq.core.relation import REGISTRY, trace
from castq.physics.damp_air import humid_air_hydrogen, water_saturation_pressure
from castq.physics.hydrogen import (
    alloy_factor,
    hydrogen_ppm,
    sieverts_hydrogen,
    sieverts_pressure,
    solubility_solid,
    solubility_talbot_anyalebechi,
)
from castq.physics.hydrogen_freezing import (
    PARTITION_COEFFICIENT,
    lever_liquid_hydrogen,
    partition_coefficient,
    scheil_liquid_hydrogen,
    threshold_hydrogen,
)

PUBLISHED = Path(__file__).parents[2] / "datasets" / "published"
LIQUIDS = sorted(name for name in REGISTRY if name.startswith("hydrogen-liquid-"))
temperatures = st.floats(661.0, 850.0)
hydrogens = st.floats(0.02, 0.5)
fractions = st.floats(0.0, 0.98)


def vashchenko() -> tuple[np.ndarray, np.ndarray]:
    """Return temperature [degC] and solubility of the printed table."""
    lines = (PUBLISHED / "vashchenko_1972_hydrogen.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    kelvin = np.array([float(row["temp_k"]) for row in rows])
    return kelvin - 273.15, np.array([float(row["solubility_ml_100g"]) for row in rows])


def test_the_stated_band_does_not_cover_a_set_known_to_disagree() -> None:
    temp_c, measured = vashchenko()
    sigma = REGISTRY["hydrogen-liquid-talbot-anyalebechi"].band.one_sigma
    share = measured / solubility_talbot_anyalebechi(temp_c)
    assert share[0] == pytest.approx(0.81, abs=0.005)
    assert share[-1] == pytest.approx(0.53, abs=0.005)
    assert np.all(np.diff(share) < 0)
    assert np.all(1.0 - share > 2 * sigma)
    assert np.all(1.0 - share[temp_c > 890] > 5 * sigma)


def test_the_stated_band_covers_the_other_sieverts_method_sets_at_the_furnace() -> None:
    entry = REGISTRY["hydrogen-liquid-talbot-anyalebechi"]
    others = [REGISTRY[f"hydrogen-liquid-{name}"].function(720.0) for name in ("ransley-neufeld", "opie-grant", "liu")]
    share = np.array(others) / entry.function(720.0)
    assert np.all(np.abs(share - 1.0) < 2.2 * entry.band.one_sigma)


@pytest.mark.parametrize("name", LIQUIDS)
@given(temp_c=temperatures, step=st.floats(1.0, 100.0))
def test_hotter_metal_dissolves_more(name: str, temp_c: float, step: float) -> None:
    function = REGISTRY[name].function
    assert function(temp_c + step) > function(temp_c) > 0


def test_solid_holds_a_twentieth_of_the_liquid_at_the_melting_point() -> None:
    assert solubility_talbot_anyalebechi(660.3) / solubility_solid(660.3) == pytest.approx(18.5, abs=0.5)


def test_solid_solubility_read_as_moles_of_atoms_would_be_out_by_two() -> None:
    per_pa = 2.32e-2 * np.exp(-39.7e3 / (8.314462618 * 850.0))
    ml_100g = per_pa * np.sqrt(101325.0) * 22413.97 / 1e6 * 100.0 / 2.70
    assert ml_100g == pytest.approx(float(solubility_solid(576.85)), rel=0.03)
    assert 0.5 * ml_100g == pytest.approx(0.5 * float(solubility_solid(576.85)), rel=0.03)
    assert abs(0.5 * ml_100g / float(solubility_solid(576.85)) - 1.0) > 3 * 0.15


def test_ppm_agrees_with_the_unit_table() -> None:
    assert parse_quantity("0.8994 ppm", "hydrogen_ml_100g") == pytest.approx(1.0, abs=1e-4)
    assert hydrogen_ppm(parse_quantity("0.11 ppm", "hydrogen_ml_100g")) == pytest.approx(0.11, rel=1e-12)


@given(silicon=st.floats(0.5, 12.0), more=st.floats(0.1, 0.9), magnesium=st.floats(0.0, 0.6))
def test_silicon_and_copper_lower_and_magnesium_raises_solubility(
    silicon: float, more: float, magnesium: float
) -> None:
    base = alloy_factor(silicon, 1.0, magnesium)
    assert base < 1
    assert alloy_factor(silicon + more, 1.0, magnesium) < base
    assert alloy_factor(silicon, 1.0 + more, magnesium) < base
    assert alloy_factor(silicon, 1.0, magnesium + more) > base


@given(hydrogen=hydrogens, solubility=st.floats(0.01, 2.0))
def test_sieverts_law_and_its_inverse(hydrogen: float, solubility: float) -> None:
    pressure = sieverts_pressure(hydrogen, solubility)
    assert sieverts_hydrogen(solubility, pressure) == pytest.approx(hydrogen, rel=1e-12)
    assert sieverts_hydrogen(solubility, 4 * pressure) == pytest.approx(2 * hydrogen, rel=1e-12)


@given(air=st.floats(-10.0, 45.0), humidity=st.floats(5.0, 95.0), share=st.floats(0.51, 1.0))
def test_damper_air_gives_more_hydrogen_and_never_more_than_saturated_air(
    air: float, humidity: float, share: float
) -> None:
    level = humid_air_hydrogen(720.0, air, humidity, share)
    assert 0 < level < humid_air_hydrogen(720.0, air, humidity + 5.0, share)
    assert level < humid_air_hydrogen(720.0, air + 1.0, humidity, share)
    ceiling = solubility_talbot_anyalebechi(720.0) * np.sqrt(water_saturation_pressure(air) / 1013.25)
    assert level < ceiling


def test_dry_air_gives_none() -> None:
    assert humid_air_hydrogen(720.0, 25.0, 0.0) == 0.0


@given(hydrogen=hydrogens, solid=fractions)
def test_segregation_keeps_the_hydrogen_balance(hydrogen: float, solid: float) -> None:
    liquid = float(lever_liquid_hydrogen(hydrogen, solid))
    held = (1.0 - solid) * liquid + solid * PARTITION_COEFFICIENT * liquid
    assert held == pytest.approx(hydrogen, rel=1e-12)
    assert hydrogen <= liquid <= scheil_liquid_hydrogen(hydrogen, solid) * (1 + 1e-12)


@given(solid=fractions, pressure=st.floats(0.1, 5.0))
def test_threshold_is_where_the_last_liquid_balances_the_pressure(solid: float, pressure: float) -> None:
    threshold = float(threshold_hydrogen(solid, pressure))
    enriched = lever_liquid_hydrogen(threshold, solid)
    liquid_solubility = float(solubility_talbot_anyalebechi(577.0) * alloy_factor(12.6, 0.0, 0.35))
    assert sieverts_pressure(enriched, liquid_solubility) == pytest.approx(pressure, rel=1e-9)
    assert threshold_hydrogen(solid, 4 * pressure) == pytest.approx(2 * threshold, rel=1e-12)


def test_carrying_solubility_to_the_eutectic_raises_no_false_alarm() -> None:
    with trace() as seen:
        partition_coefficient()
        threshold_hydrogen(0.5)
    assert set(seen.used) == {"hydrogen-eutectic-partition", "hydrogen-threshold"}
    assert seen.excursions == {}

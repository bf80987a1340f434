"""Dendrite arm spacing: the default among the published relations, and the exponent against measured pairs."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from castq.physics.freezing import mean_cooling_rate
from castq.physics.structure import (
    ripening_parameter,
    sdas_a356_zhang,
    sdas_coarsening,
    sdas_cube_root,
    sdas_kurz_fisher,
    sdas_published,
)

PAIRS = Path(__file__).parents[2] / "datasets" / "published" / "sdas_time_pairs.csv"
# From 0.2 to 20 K/s in A356.
TIMES_S = np.geomspace(2.9, 290.0, 25)


def measured(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Return time [s] and spacing [um] of one measured set."""
    lines = [line for line in PAIRS.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = [row for row in csv.DictReader(lines) if row["set"] == name]
    return tuple(np.array([float(row[key]) for row in rows]) for key in ("local_solidification_time_s", "sdas_um"))


@pytest.mark.parametrize(("name", "count", "exponent", "prefactor"), [("1", 8, 0.362, 6.13), ("2", 6, 0.290, 9.59)])
def test_measured_pairs_give_the_exponent_of_coarsening(
    name: str, count: int, exponent: float, prefactor: float
) -> None:
    """The fits around one third, one above and one below it."""
    times, spacing = measured(name)
    assert times.size == count
    slope, intercept = np.polyfit(np.log(times), np.log(spacing), 1)
    assert slope == pytest.approx(exponent, abs=0.002)
    assert np.exp(intercept) == pytest.approx(prefactor, rel=0.01)
    assert slope == pytest.approx(1.0 / 3.0, abs=0.05)


@pytest.mark.parametrize(("name", "prefactor", "scatter"), [("1", 6.72, 0.07), ("2", 7.73, 0.08), ("3", 5.51, 0.08)])
def test_cube_root_law_follows_measured_pairs_with_one_constant(name: str, prefactor: float, scatter: float) -> None:
    """The prefactor belongs to the alloy, the shape to the law."""
    times, spacing = measured(name)
    residual = np.log(spacing / sdas_cube_root(times))
    assert 10.0 * np.exp(residual.mean()) == pytest.approx(prefactor, rel=0.01)
    assert residual.std() < scatter


def test_a_linear_law_would_not_follow_them() -> None:
    times, spacing = measured("1")
    assert np.std(np.log(spacing / times)) > 0.5


def test_default_is_within_seven_percent_of_the_a356_relation() -> None:
    default = sdas_cube_root(TIMES_S)
    np.testing.assert_allclose(default, sdas_a356_zhang(mean_cooling_rate(58.0, TIMES_S)), rtol=0.07)


def test_published_relations_spread_about_the_default_as_its_band_says() -> None:
    found = sdas_published(TIMES_S, 58.0)
    assert len(found) == 8
    ratio = np.array([values / found["sdas-cube-root-time"] for values in found.values()])
    assert -0.15 < ratio.min() - 1.0 < -0.08
    assert 0.20 < ratio.max() - 1.0 < 0.31
    assert np.all([np.all(np.diff(values) > 0.0) for values in found.values()])


def test_published_relations_broadcast_over_draws() -> None:
    found = sdas_published(np.array([[10.0], [40.0]]), np.array([56.0, 58.0, 60.0]))
    assert found["sdas-a356-zhang-2008"].shape == (2, 3)


def test_theory_overstates_the_spacing() -> None:
    """Kurz and Fisher with literature data: a quarter and more above what is measured."""
    ratio = sdas_kurz_fisher(TIMES_S, ripening_parameter()) / sdas_cube_root(TIMES_S)
    assert np.all(ratio > 1.2)


def test_first_spacing_is_forgotten_in_slow_freezing() -> None:
    ratio = sdas_coarsening(np.array([1.0, 100.0]), 7.0) / sdas_coarsening(np.array([1.0, 100.0]))
    assert ratio[0] > 1.1
    assert ratio[1] < 1.002

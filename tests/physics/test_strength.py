"""Strength chain: direction of each cause, tempers, and the hardening law against the rows it was fitted on."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import brentq

from castq.core.errors import InputError
from castq.physics.ageing import reduced_ageing_time
from castq.physics.ductility import defect_factor, elongation
from castq.physics.fatigue import fatigue_strength
from castq.physics.strength import (
    AS_CAST_NO_MAGNESIUM,
    TEMPERS,
    temper_name,
    tensile_strength,
    work_hardening_exponent,
    yield_strength,
    yield_t6,
)

ROWS = Path(__file__).parents[2] / "datasets" / "published" / "tensile_rows.csv"
QUICK = settings(derandomize=True, deadline=None, max_examples=100)
SDAS = st.floats(12.0, 85.0)
MAGNESIUM = st.floats(0.20, 0.60)
REDUCED_TIME = st.floats(0.05, 3.0)
QUENCH = st.floats(0.5, 250.0)
DEFECT = st.floats(0.0, 0.15)


@pytest.fixture(scope="module")
def fit_rows() -> NDArray[np.float64]:
    """Yield [MPa], tensile [MPa] and elongation [%] of the rows marked as used in the fit."""
    lines = [line for line in ROWS.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = [row for row in csv.DictReader(lines) if row["in_fit"] == "yes"]
    return np.array([[float(row[name]) for name in ("ys_mpa", "uts_mpa", "elongation_pct")] for row in rows])


def measured_exponents(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the exponent that makes each row exact, found by root search on the written-out law."""

    def excess(n: float, ys: float, uts: float, strain: float) -> float:
        end = min(strain, n)
        return float(ys * (end / 0.002) ** n * np.exp(-end) - uts)

    return np.array([brentq(excess, 0.01, 0.4, args=(ys, uts, np.log(1 + el / 100))) for ys, uts, el in rows])


def straight_line(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return intercept and slope, and their standard errors."""
    design = np.column_stack([np.ones_like(x), x])
    inverse = np.linalg.inv(design.T @ design)
    line = inverse @ design.T @ y
    rest = y - design @ line
    return line, np.sqrt(rest @ rest / (len(x) - 2) * np.diag(inverse))


def test_refit_of_the_hardening_line_gives_its_constants(fit_rows: NDArray[np.float64]) -> None:
    assert len(fit_rows) == 12
    (intercept, slope), (intercept_error, slope_error) = straight_line(fit_rows[:, 0], measured_exponents(fit_rows))
    assert slope == pytest.approx(-0.000683, abs=2e-6)
    assert intercept == pytest.approx(0.2535, abs=2e-4)
    assert slope_error == pytest.approx(4.8e-5, rel=0.05)
    assert intercept_error == pytest.approx(0.011, rel=0.05)
    code_slope = (work_hardening_exponent(250.0) - work_hardening_exponent(150.0)) / 100.0
    assert abs(code_slope - slope) < slope_error


def test_leave_one_out_tensile_error_is_as_stated(fit_rows: NDArray[np.float64]) -> None:
    exponents = measured_exponents(fit_rows)
    errors = []
    for out in range(len(fit_rows)):
        kept = np.arange(len(fit_rows)) != out
        (intercept, slope), _ = straight_line(fit_rows[kept, 0], exponents[kept])
        ys, uts, el = fit_rows[out]
        shift = intercept + slope * ys - float(work_hardening_exponent(ys))
        errors.append(float(tensile_strength(ys, el, shift)) - uts)
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(9.9, abs=0.1)


@QUICK
@given(SDAS, st.floats(0.1, 5.0), MAGNESIUM, REDUCED_TIME, QUENCH, DEFECT)
def test_finer_structure_never_lowers_a_property(
    sdas: float, coarser: float, mg: float, u: float, quench: float, defect: float
) -> None:
    spacing = np.array([sdas, sdas + coarser])
    ys = yield_t6(spacing, mg, u, quench)
    el = elongation(spacing, ys, defect)
    for fine, coarse in (ys, el, tensile_strength(ys, el), fatigue_strength(spacing, 200.0)):
        assert fine > coarse


@QUICK
@given(SDAS, MAGNESIUM, DEFECT, st.floats(0.0005, 0.05))
def test_more_defect_area_never_raises_elongation_or_tensile(sdas: float, mg: float, f: float, more: float) -> None:
    ys = yield_t6(sdas, mg)
    el = elongation(sdas, ys, [f, f + more])
    uts = tensile_strength(ys, el)
    assert el[1] < el[0]
    assert uts[1] <= uts[0]


@pytest.mark.parametrize(("f", "ratio"), [(0.02, 0.987), (0.05, 0.957), (0.10, 0.892)])
def test_defect_area_lowers_tensile_by_about_itself(f: float, ratio: float) -> None:
    # Worked separately for 225 MPa yield and 7.78 % sound elongation.
    sound, defective = tensile_strength(225.0, 7.78 * defect_factor([0.0, f]))
    assert defective / sound == pytest.approx(ratio, abs=6e-4)
    assert defective / sound == pytest.approx(1.0 - f, abs=0.011)


@QUICK
@given(SDAS, st.floats(0.2, 0.53), st.floats(0.005, 0.02))
def test_magnesium_raises_yield_and_lowers_elongation_up_to_solubility(sdas: float, mg: float, more: float) -> None:
    ys = yield_t6(sdas, [mg, mg + more])
    el = elongation(sdas, ys)
    assert ys[1] > ys[0]
    assert el[1] < el[0]
    np.testing.assert_array_equal(yield_t6(sdas, [0.55, 0.70])[0], yield_t6(sdas, [0.55, 0.70])[1])


def test_about_two_mpa_for_each_hundredth_of_magnesium() -> None:
    assert yield_t6(30.0, 0.36) - yield_t6(30.0, 0.35) == pytest.approx(2.3, abs=0.05)


@QUICK
@given(SDAS, QUENCH, REDUCED_TIME, st.floats(0.0, 5.0))
def test_pores_take_their_volume_from_yield(sdas: float, quench: float, u: float, porosity: float) -> None:
    share = yield_t6(sdas, 0.35, u, quench, porosity) / yield_t6(sdas, 0.35, u, quench)
    assert share == pytest.approx(1.0 - porosity / 100.0)


def test_quench_counts_less_off_peak() -> None:
    def spread(u: float) -> float:
        fast, slow = yield_t6(30.0, 0.35, u, [100.0, 10.0])
        return float(fast - slow)

    assert spread(1.0) == pytest.approx(32.5)
    assert 0.0 < spread(0.1) < spread(0.3) < spread(1.0)
    assert spread(0.0) == 0.0


def test_published_heat_treatment_lands_in_the_handbook_range() -> None:
    # AlSi7Mg0.3 gravity die T6: 210-280 MPa; sand T6: 190-260 MPa (supplier data sheet).
    assert 210.0 < yield_t6(30.0, [0.30, 0.35, 0.40], reduced_ageing_time(6.0, 165.0)).min()
    assert 190.0 < yield_t6(80.0, 0.35) < 260.0


@pytest.mark.parametrize("temper", ["F", "T4", "T5", AS_CAST_NO_MAGNESIUM])
def test_fixed_tempers_take_one_value_whatever_the_section(temper: str) -> None:
    ys = yield_strength(temper, np.array([[20.0, 30.0], [40.0, 60.0]]), porosity_pct=1.0)
    assert ys.shape == (2, 2)
    np.testing.assert_allclose(ys, 0.99 * TEMPERS[temper].ys_mpa)
    assert TEMPERS[temper].ys_mpa < yield_strength("T6", 80.0)


def test_t6_goes_through_the_ageing_chain() -> None:
    np.testing.assert_array_equal(
        yield_strength("T6", [20.0, 40.0], 0.3, 0.5, 10.0, 1.0), yield_t6([20.0, 40.0], 0.3, 0.5, 10.0, 1.0)
    )


def test_alloy_without_magnesium_stays_as_cast_in_any_temper() -> None:
    assert {temper_name(temper, heat_treatable=False) for temper in ("F", "T4", "T5", "T6")} == {AS_CAST_NO_MAGNESIUM}
    assert temper_name("T6") == "T6"


def test_unknown_temper_is_refused_in_one_sentence() -> None:
    with pytest.raises(InputError, match=r"wheel\.toml, temper: 'T61' is not a temper.*did you mean T6") as caught:
        temper_name("T61", source="wheel.toml")
    assert "\n" not in str(caught.value)


def test_tensile_at_no_elongation_is_nothing_and_levels_off_at_necking() -> None:
    with np.errstate(all="raise"):
        uts = tensile_strength(220.0, [0.0, 0.2, 5.0, 15.0, 25.0])
    assert uts[0] == 0.0
    assert uts[1] == pytest.approx(220.0, rel=0.005)
    assert uts[2] < uts[3] == uts[4]


def test_zones_and_draws_broadcast() -> None:
    sdas = np.linspace(20.0, 60.0, 8)[:, None] * np.ones(16)
    ys = yield_strength("T6", sdas, np.linspace(0.3, 0.4, 16), 1.0, 30.0, np.full((8, 1), 0.2))
    uts = tensile_strength(ys, elongation(sdas, ys, 0.01, np.linspace(11, 25, 16)), np.zeros(16))
    assert ys.shape == uts.shape == (8, 16)
    assert np.all(np.isfinite(uts))

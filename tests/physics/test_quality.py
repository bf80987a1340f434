"""Quality indices: identities between them, and the flag on a yield strength that does not fit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from castq.physics import quality
from castq.physics.ductility import elongation
from castq.physics.strength import tensile_strength, yield_t6

QUICK = settings(derandomize=True, deadline=None, max_examples=60)


@QUICK
@given(st.floats(100.0, 400.0), st.floats(1.0, 20.0))
def test_index_less_probable_yield_depends_on_elongation_alone(uts: float, el: float) -> None:
    difference = quality.quality_drouzy(uts, el) - quality.probable_yield_drouzy(uts, el)
    assert difference == pytest.approx(210.0 * np.log10(el) + 13.0)


def test_constant_of_the_probable_yield_is_minus_thirteen() -> None:
    assert quality.probable_yield_drouzy(300.0, 1.0) == pytest.approx(287.0)


def test_published_t6_rows_meet_the_probable_yield_on_average() -> None:
    # YS, UTS, El of nine published T6 rows (datasets/published/tensile_rows.csv rows 1, 3-6, 8, 13, 17, 18).
    rows = np.array([
        [225, 303, 14.3], [210, 276, 9.5], [235, 308, 12.3], [219, 295, 10.2], [223.1, 303.5, 9.5],
        [227, 295, 6.5], [259, 329, 10.5], [289, 320, 2.4], [300, 335, 4.5],
    ])  # fmt: skip
    error = quality.probable_yield_drouzy(rows[:, 1], rows[:, 2]) - rows[:, 0]
    assert error.mean() == pytest.approx(-2.7, abs=0.1)
    assert error.std(ddof=1) == pytest.approx(7.7, abs=0.5)


def test_factor_150_of_the_index_belongs_to_a_coefficient_of_375() -> None:
    # Along a flow curve of K = 375 MPa the index gains 0.4 K = 150 MPa a decade of strain, plus the gain in stress.
    n, q = 0.10, np.array([0.1, 1.0])
    gained = np.diff(quality.quality_caceres(375.0, n, q))[0]
    stress = 375.0 * np.diff((n * q) ** n * np.exp(-n * q))[0]
    assert gained - stress == pytest.approx(150.0)


@QUICK
@given(st.floats(0.08, 0.20), st.floats(0.1, 1.0))
def test_short_form_follows_the_full_one(n: float, q: float) -> None:
    full, short = quality.quality_caceres(1.0, n, q), quality.quality_caceres_approximate(1.0, q)
    assert short == pytest.approx(float(full), abs=0.06)


def test_more_of_the_uniform_strain_is_better() -> None:
    q = np.linspace(0.05, 1.0, 20)
    assert np.all(np.diff(quality.quality_caceres(400.0, 0.1, q)) > 0)
    assert np.all(np.diff(quality.quality_caceres_approximate(400.0, q)) > 0)


def test_flag_is_silent_on_the_t6_chain_and_raised_on_soft_metal() -> None:
    sdas = np.linspace(15.0, 60.0, 10)[:, None]
    ys = yield_t6(sdas)
    el = elongation(sdas, ys, np.array([0.0, 0.02, 0.04]))
    assert not quality.yield_disagrees(ys, tensile_strength(ys, el), el).any()
    # Squeeze-cast thick sections, 151.5/265.5/15: the index line does not hold for such soft metal.
    assert quality.yield_disagrees(151.5, 265.5, 15.0)


def test_share_of_potential_falls_from_sound_to_porous() -> None:
    ys = yield_t6(30.0)
    sound, porous = quality.quality_tiryakioglu(elongation(30.0, ys, [0.0, 0.05]), ys)
    assert porous < 0.25 < sound < 0.70


def test_cut_bars_keep_three_quarters_of_strength_and_one_of_elongation() -> None:
    uts, ys, el = quality.minima_cut_from_casting([290.0, 230.0], 210.0, 4.0)
    np.testing.assert_allclose(uts, [217.5, 172.5])
    assert (float(ys), float(el)) == (157.5, 1.0)

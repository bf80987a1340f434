"""Largest defects: the Gumbel law against another library and against drawn blocks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from castq.statistics import extremes

QUICK = settings(derandomize=True, deadline=None, max_examples=60)


@QUICK
@given(st.floats(0.01, 0.99), st.floats(50.0, 500.0), st.floats(5.0, 100.0), st.floats(0.1, 1000.0))
def test_probability_undoes_the_quantile(p: float, location: float, scale: float, volume: float) -> None:
    size = extremes.largest_defect(p, location, scale, volume)
    assert extremes.largest_defect_probability(size, location, scale, volume) == pytest.approx(p)


def test_one_block_is_the_gumbel_law() -> None:
    p = np.array([0.05, 0.5, 0.99])
    np.testing.assert_allclose(extremes.largest_defect(p, 120.0, 35.0), stats.gumbel_r(120.0, 35.0).ppf(p))


def test_larger_volume_holds_a_larger_defect_as_drawn_blocks_do() -> None:
    drawn = stats.gumbel_r(120.0, 35.0).rvs(size=(20_000, 10), random_state=np.random.default_rng(3)).max(axis=1)
    assert extremes.largest_defect(0.5, 120.0, 35.0, 10.0) == pytest.approx(np.median(drawn), rel=0.01)
    assert extremes.largest_defect(0.9, 120.0, 35.0, 10.0) == pytest.approx(np.quantile(drawn, 0.9), rel=0.01)


def test_moments_give_the_law_back() -> None:
    law = stats.gumbel_r(120.0, 35.0)
    location, scale = extremes.gumbel_from_moments(law.mean(), law.std())
    assert (float(location), float(scale)) == (pytest.approx(120.0), pytest.approx(35.0))

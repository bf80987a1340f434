"""Sample sizes, demonstrations and capability: worked answers, another library, and coverage in simulation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from castq.core.errors import InputError
from castq.statistics import planning
from castq.statistics.capability import capability

QUICK = settings(derandomize=True, deadline=None, max_examples=60)


def test_five_density_indices_prove_a_mean_below_three_but_not_below_two_and_a_half() -> None:
    values = np.array([2.4, 1.9, 3.1, 2.2, 2.6])
    proven = values.mean() + float(planning.mean_proof_margin(5)) * values.std(ddof=1)
    assert proven == pytest.approx(2.870, abs=5e-4)
    needed = planning.mean_proof_sample_size((np.array([3.0, 2.5, 2.4]) - values.mean()) / values.std(ddof=1))
    assert needed[0] <= 5 < needed[1]
    assert np.isinf(needed[2])


@QUICK
@given(st.floats(0.05, 1.0), st.floats(0.02, 0.9), st.floats(0.6, 0.99))
def test_sample_size_is_enough_and_one_fewer_is_not(variation: float, half: float, confidence: float) -> None:
    n = float(planning.half_width_sample_size(variation, half, confidence))

    def reach(count: float) -> float:
        return float(stats.t.ppf(0.5 * (1 + confidence), count - 1) * variation / np.sqrt(count))

    assert reach(n) <= half * (1 + 1e-9)
    assert n == 2 or reach(n - 1) > half


@pytest.mark.parametrize(("found", "trials"), [(29, 29), (28, 29), (45, 46), (3, 40), (1, 5)])
def test_bound_of_a_demonstration_is_that_of_another_library(found: int, trials: int) -> None:
    theirs = stats.binomtest(found, trials, alternative="greater").proportion_ci(0.95, "exact").low
    assert float(planning.found_share_lower_bound(found, trials)) == pytest.approx(theirs)


def test_one_sided_interval_inverts_the_non_central_law() -> None:
    got = capability(np.random.default_rng(0).normal(1.0, 0.2, 40), 1.6)
    root = 3.0 * np.sqrt(40)
    assert stats.nct.cdf(root * got.cpk, 39, root * got.cpk_low) == pytest.approx(0.975, abs=1e-4)
    assert stats.nct.cdf(root * got.cpk, 39, root * got.cpk_high) == pytest.approx(0.025, abs=1e-4)
    assert np.isnan(got.cp)


@pytest.mark.parametrize("lower", [None, -4.5])
def test_capability_intervals_hold_as_often_as_they_promise(lower: float | None) -> None:
    rng, truth = np.random.default_rng(8), 1.0
    results = [capability(rng.normal(size=35), 3.0, lower) for _ in range(600)]
    assert np.mean([r.cpk_low <= truth <= r.cpk_high for r in results]) == pytest.approx(0.95, abs=0.025)
    if lower is not None:
        assert np.mean([r.cp_low <= 1.25 <= r.cp_high for r in results]) == pytest.approx(0.95, abs=0.025)


def test_no_index_is_stated_for_few_points_or_out_of_control() -> None:
    values = np.random.default_rng(1).normal(size=60)
    few, wild = capability(values[:29], 3.0), capability(values, 3.0, in_control=False)
    assert not few.stated and "fewer than 30 points (n = 29)" in few.why_not and np.isnan(few.cpk)
    assert not wild.stated and "not in control" in wild.why_not
    assert capability(values[:30], 3.0).stated
    assert not capability(np.ones(40), 3.0).stated


def test_swapped_limits_are_refused() -> None:
    with pytest.raises(InputError, match="lower below upper"):
        capability(np.arange(40.0), 1.0, 2.0)

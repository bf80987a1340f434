"""Basis values against a published sample, coverage in simulation, and Weibull figures against another library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from castq.statistics import bounds

# Sample of 18 bars with its STAT17 results, as quoted in a public test set.
SAMPLE = np.array([
    137.4438, 139.5395, 150.89, 141.4474, 141.8203, 151.8821, 143.9245, 132.9732, 136.6419, 138.1723, 148.7668,
    143.283, 143.5429, 141.7023, 137.4732, 152.338, 144.1589, 128.5218,
])  # fmt: skip


def test_normal_basis_values_of_the_published_sample() -> None:
    got = bounds.normal_basis_value(SAMPLE.mean(), SAMPLE.std(ddof=1), len(SAMPLE), [0.90, 0.99])
    np.testing.assert_allclose(got, [129.287, 120.336], atol=0.02)


def test_lognormal_basis_values_of_the_published_sample() -> None:
    logs = np.log(SAMPLE)
    got = np.exp(bounds.normal_basis_value(logs.mean(), logs.std(ddof=1), len(logs), [0.90, 0.99]))
    np.testing.assert_allclose(got, [129.664, 121.710], atol=0.02)


def test_weibull_basis_values_of_the_published_sample() -> None:
    modulus, _, scale = stats.weibull_min.fit(SAMPLE, floc=0.0)
    assert bounds.weibull_basis_value(scale, modulus, 18, "B") == pytest.approx(125.441, abs=0.03)
    assert bounds.weibull_basis_value(scale, modulus, 18, "A") == pytest.approx(109.150, abs=0.03)


def test_normal_bound_holds_as_often_as_it_promises() -> None:
    samples = np.random.default_rng(7).normal(size=(20_000, 8))
    bound = bounds.normal_basis_value(samples.mean(axis=1), samples.std(axis=1, ddof=1), 8)
    # 90 % of all parts lie above -1.2816; the bound is below it in 95 % of the samples, give or take 0.5 %.
    assert np.mean(bound < -1.281552) == pytest.approx(0.95, abs=0.005)


def test_factor_falls_with_more_specimens_towards_the_normal_quantile() -> None:
    k = bounds.normal_tolerance_factor([3, 5, 10, 30, 100, 10_000])
    assert np.all(np.diff(k) < 0)
    assert k[-1] == pytest.approx(1.2816, abs=0.03)
    assert np.all(bounds.normal_tolerance_factor([5, 10, 30], 0.99) > k[1:4])


@pytest.mark.parametrize("count", [10, 29, 46, 60, 61, 150, 299])
@pytest.mark.parametrize("coverage", [0.90, 0.99])
def test_rank_is_the_largest_that_keeps_the_confidence(count: int, coverage: float) -> None:
    rank = int(bounds.nonparametric_rank(count, coverage))
    kept = [stats.binom.sf(r - 1, count, 1.0 - coverage) for r in (rank, rank + 1)]
    assert kept[0] >= 0.95 > kept[1]


def test_weibull_figures_match_another_library() -> None:
    modulus = np.array([1.5, 3.0, 11.0, 38.0])
    law = stats.weibull_min(modulus)
    np.testing.assert_allclose(bounds.weibull_variation(modulus), law.std() / law.mean(), rtol=1e-9)
    np.testing.assert_allclose(
        bounds.weibull_percentile_over_mean(modulus, 0.05), law.ppf(0.05) / law.mean(), rtol=1e-9
    )

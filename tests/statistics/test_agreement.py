"""Agreement of raters against published results, another library, and what must hold for any table."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from castq.core.errors import InputError
from castq.statistics import agreement

QUICK = settings(derandomize=True, deadline=None, max_examples=80)
TABLES = st.integers(2, 5).flatmap(lambda k: arrays(np.int64, (k, k), elements=st.integers(0, 30))).filter(
    lambda t: t.sum() > 1
)  # fmt: skip
# Results of a statistics package as quoted in the statsmodels test set.
THREE = [[0, 4, 1], [0, 8, 0], [0, 1, 5]]


def test_standard_error_interval_and_test_of_the_published_table() -> None:
    got = agreement.cohen_interval(THREE)
    assert got.value == pytest.approx(0.4842, abs=5e-5)
    assert got.error == pytest.approx(0.1380, abs=5e-5)
    assert (got.low, got.high) == (pytest.approx(0.2137, abs=5e-5), pytest.approx(0.7547, abs=5e-5))
    assert got.test_z == pytest.approx(3.2626, abs=5e-5)
    linear = agreement.cohen_interval(THREE, "linear")
    assert (linear.value, linear.error) == (pytest.approx(0.4701, abs=5e-5), pytest.approx(0.1457, abs=5e-5))


def test_where_one_kind_prevails_kappa_is_low_and_the_others_are_not() -> None:
    table = [[85, 5], [5, 5]]
    assert agreement.percent_agreement(table) == pytest.approx(90.0)
    assert agreement.cohen_interval(table).value == pytest.approx(0.44, abs=0.005)
    assert agreement.prevalence_adjusted_interval(table).value == pytest.approx(0.8)
    assert agreement.gwet_interval(table).value > 0.85


@pytest.mark.parametrize(
    ("interval", "measure"),
    [
        (agreement.cohen_interval, agreement.cohen_kappa),
        (agreement.gwet_interval, agreement.gwet_agreement),
        (agreement.prevalence_adjusted_interval, agreement.prevalence_adjusted_kappa),
    ],
)
@pytest.mark.parametrize("table", [[[300, 40, 10], [30, 200, 50], [20, 10, 90]], [[600, 30], [50, 40]]])
def test_standard_error_is_the_spread_of_resampled_tables(interval, measure, table) -> None:
    counts = np.array(table)
    draws = np.random.default_rng(6).multinomial(counts.sum(), counts.ravel() / counts.sum(), 40_000)
    assert interval(table).error == pytest.approx(float(measure(draws.reshape(-1, *counts.shape)).std()), rel=0.02)


@pytest.mark.parametrize("weights", ["none", "linear", "quadratic"])
def test_kappa_is_that_of_another_library(weights) -> None:
    from sklearn import metrics

    rng = np.random.default_rng(9)
    one = rng.integers(0, 4, 500)
    other = np.where(rng.random(500) < 0.6, one, rng.integers(0, 4, 500))
    table = np.zeros((4, 4))
    np.add.at(table, (one, other), 1)
    theirs = metrics.cohen_kappa_score(one, other, weights=None if weights == "none" else weights)
    assert float(agreement.cohen_kappa(table, weights)) == pytest.approx(theirs)


@QUICK
@given(TABLES, st.sampled_from(["none", "linear", "quadratic"]))
def test_kappa_stays_within_its_bounds(table, weights) -> None:
    value = float(agreement.cohen_kappa(table, weights))
    if np.isfinite(value):
        assert -1.0 - 1e-12 <= value <= 1.0 + 1e-12
        assert (value > 1.0 - 1e-12) == (np.trace(table) == table.sum())
        got = agreement.cohen_interval(table, weights)
        assert -1.0 <= got.low <= got.value + 1e-12 and got.value - 1e-12 <= got.high <= 1.0


@QUICK
@given(TABLES, st.randoms(use_true_random=False))
def test_names_of_the_kinds_and_of_the_raters_do_not_matter(table, random) -> None:
    order = list(range(len(table)))
    random.shuffle(order)
    for measure in (agreement.cohen_kappa, agreement.gwet_agreement, agreement.prevalence_adjusted_kappa):
        value = float(measure(table))
        assert float(measure(table[np.ix_(order, order)])) == pytest.approx(value, nan_ok=True)
        assert float(measure(table.T)) == pytest.approx(value, nan_ok=True)


def test_two_raters_of_fleiss_with_even_margins_are_cohens() -> None:
    # Same margins for both raters: 40 agree on each kind, 10 and 10 are split.
    counts = np.repeat([[2, 0], [0, 2], [1, 1]], [40, 40, 20], axis=0)
    assert agreement.fleiss_kappa(counts) == pytest.approx(float(agreement.cohen_kappa([[40, 10], [10, 40]])))
    assert agreement.randolph_kappa(counts) == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: agreement.cohen_kappa([[1, 2, 3], [4, 5, 6]]), "square table"),
        (lambda: agreement.cohen_kappa([[1, -2], [4, 5]]), "negative"),
        (lambda: agreement.cohen_interval([[9, 0], [0, 0]]), "one kind only"),
        (lambda: agreement.fleiss_kappa([[2, 1], [1, 1]]), "different numbers of raters"),
    ],
)
def test_bad_table_is_refused(call, said: str) -> None:
    with pytest.raises(InputError, match=said):
        call()

"""Control charts against worked answers, and what must hold for any series."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from castq.core.errors import InputError
from castq.statistics import charts, count_charts

QUICK = settings(derandomize=True, deadline=None, max_examples=60)
SERIES = arrays(np.float64, st.integers(9, 40), elements=st.floats(-50.0, 50.0, width=32))

# NIST/SEMATECH e-Handbook 6.3.2.2 to 6.3.2.4, as quoted in a public test set.
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
EWMA_SERIES = [52, 47, 53, 49.3, 50.1, 47, 51, 50.1, 51.2, 50.5, *FLOW]
CUSUM_SERIES = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150, 328.325,
    327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
]  # fmt: skip
# Bad pieces in 30 samples of 50; the same section 6.3.3.2 quotes the mean of 0.2313.
PIECES = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6]


def test_individuals_and_moving_range_of_the_handbook() -> None:
    chart = charts.individuals(FLOW)
    assert chart.centre[0] == pytest.approx(50.81)
    assert (chart.upper[0], chart.lower[0]) == (pytest.approx(55.8041, abs=2e-4), pytest.approx(45.8159, abs=2e-4))
    ranges = charts.moving_range(FLOW)
    assert ranges.centre[0] == pytest.approx(1.8778, abs=5e-5)
    assert len(ranges.points) == len(FLOW) - 1
    assert not chart.signalled.any()


def test_ewma_of_the_handbook() -> None:
    chart = charts.ewma(EWMA_SERIES, 50.0, 2.0539, weight=0.3, settled=True)
    assert chart.points[-1] == pytest.approx(51.99, abs=5e-3)
    assert (chart.upper[-1], chart.lower[-1]) == (pytest.approx(52.5884, abs=1e-4), pytest.approx(47.4115, abs=1e-4))
    assert not chart.signalled.any()


def test_early_ewma_limits_are_narrower_and_grow_to_the_settled_ones() -> None:
    early, settled = (charts.ewma(EWMA_SERIES * 3, 50.0, 2.0539, settled=s) for s in (False, True))
    width = early.upper - early.lower
    assert np.all(np.diff(width) > 0)
    # The first average is 0.2 of one value: its limits lie at 0.2 times three sigma.
    assert early.upper[0] - 50.0 == pytest.approx(0.2 * 3 * 2.0539)
    assert width[-1] == pytest.approx((settled.upper - settled.lower)[-1], rel=1e-6)


def test_cusum_of_the_handbook() -> None:
    sigma = 2 * 0.3175
    got = charts.cusum(CUSUM_SERIES, 325.0, sigma, slack=0.5, decision=4.1959 / sigma)
    assert (np.flatnonzero(got.signals[charts.RISEN]) + 1).tolist() == [14, 15, 16, 17, 18, 19, 20]
    assert got.high[13] == pytest.approx(4.94)
    # Sample 13 is the first of the run above zero that leads to the signal at 14.
    assert got.high_since[13] + 1 == 13
    assert not got.signals[charts.FALLEN].any()


def test_cusum_sums_match_the_closed_form_without_restart() -> None:
    x = np.random.default_rng(2).normal(size=400)
    got = charts.cusum(x, 0.0, 1.0, slack=0.4, decision=3.0)
    walk = np.concatenate([[0.0], np.cumsum(x - 0.4)])
    np.testing.assert_allclose(got.high, (walk - np.minimum.accumulate(walk))[1:], atol=1e-12)


def test_restarted_cusum_goes_back_to_zero_soon_after_a_passed_shift() -> None:
    x = np.r_[np.zeros(20), np.full(10, 2.0), np.zeros(30)]
    kept, restarted = (charts.cusum(x, 0.0, 1.0, restart=r) for r in (False, True))
    back = [int(np.flatnonzero(c.high[30:] == 0.0)[0]) if (c.high[30:] == 0.0).any() else 99 for c in (kept, restarted)]
    # Each shifted value adds 1.5, each later one takes 0.5: from 15 in 30 values; the restarted sum signals at the last
    # shifted value, goes on from half of 5, and is at zero with the fifth.
    assert back == [29, 4]
    assert restarted.high_since[25] == 20


def test_run_rules_flag_the_value_that_completes_the_run() -> None:
    flags = charts.run_rules([0.1, 2.1, 0.2, 2.2, -0.1, *[0.5] * 8, -2.1, 2.1, -2.5])
    assert np.flatnonzero(flags[charts.NEAR]).tolist() == [3, 15]
    assert np.flatnonzero(flags[charts.ONE_SIDE]).tolist() == [12]


def test_false_signals_of_known_limits_come_as_often_as_the_normal_law_says() -> None:
    chart = charts.individuals(np.random.default_rng(4).normal(size=200_000), 0.0, 1.0)
    assert np.mean(chart.signals[charts.BEYOND]) == pytest.approx(0.0027, abs=3.5e-4)


@QUICK
@given(SERIES, st.floats(-100.0, 100.0), st.floats(0.25, 4.0))
def test_a_shifted_and_stretched_series_shifts_and_stretches_its_limits(x, shift, stretch) -> None:
    plain, moved = charts.individuals(x), charts.individuals(shift + stretch * x)
    for name in ("centre", "lower", "upper"):
        np.testing.assert_allclose(getattr(moved, name), shift + stretch * getattr(plain, name), atol=1e-8, rtol=1e-9)


@QUICK
@given(SERIES)
def test_reversed_order_keeps_the_limits_and_turns_the_flags_round(x) -> None:
    plain, turned = charts.individuals(x), charts.individuals(x[::-1])
    np.testing.assert_allclose(plain.upper, turned.upper)
    clear = np.abs(np.abs(x - plain.centre) - 3 * plain.sigma) > 1e-9
    assert np.array_equal(plain.signals[charts.BEYOND][clear], turned.signals[charts.BEYOND][::-1][clear])


def test_reversed_order_changes_what_looks_along_the_series() -> None:
    x = np.r_[np.zeros(30), np.full(10, 1.5)]
    late, early = charts.cusum(x, 0.0, 1.0), charts.cusum(x[::-1], 0.0, 1.0)
    assert np.flatnonzero(late.signals[charts.RISEN])[0] == 35
    assert np.flatnonzero(early.signals[charts.RISEN])[0] == 5


@QUICK
@given(SERIES)
def test_mirrored_series_swaps_risen_and_fallen(x) -> None:
    one, other = charts.cusum(x, 0.0, 5.0), charts.cusum(-x, 0.0, 5.0)
    np.testing.assert_array_equal(one.signals[charts.RISEN], other.signals[charts.FALLEN])
    np.testing.assert_array_equal(one.high, other.low)


def test_share_chart_of_the_handbook() -> None:
    chart = count_charts.share_chart(PIECES, 50)
    got = (chart.centre[0], chart.upper[0], chart.lower[0])
    np.testing.assert_allclose(got, (0.2313, 0.4102, 0.0524), atol=6e-5)
    assert (np.flatnonzero(chart.signalled) + 1).tolist() == [15, 23]
    kept = count_charts.share_chart([n for i, n in enumerate(PIECES, 1) if i not in (15, 23)], 50)
    np.testing.assert_allclose((kept.centre[0], kept.upper[0], kept.lower[0]), (0.2150, 0.3893, 0.0407), atol=6e-5)


def test_number_count_and_rate_charts() -> None:
    chart = count_charts.number_chart([8, 12, 10, 10], 50)
    np.testing.assert_allclose((chart.centre[0], chart.upper[0], chart.lower[0]), (10.0, 18.485, 1.515), atol=6e-4)
    chart = count_charts.count_chart([16] * 25)
    assert (chart.centre[0], chart.upper[0], chart.lower[0]) == (16.0, 28.0, 4.0)
    chart = count_charts.rate_chart([6, 4, 9, 5], [3, 2, 4, 2])
    assert chart.centre[0] == pytest.approx(24 / 11)
    assert chart.upper[2] == pytest.approx(24 / 11 + 3 * np.sqrt(24 / 44))


def test_laney_chart_widens_the_binomial_limits_by_the_moving_range() -> None:
    plain, laney = count_charts.share_chart(PIECES, 50), count_charts.laney_share_chart(PIECES, 50)
    assert laney.sigma / plain.sigma == pytest.approx(1.6609, abs=5e-5)
    assert laney.upper[0] == pytest.approx(0.5285, abs=5e-5)
    assert laney.lower[0] == 0.0


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: charts.individuals([1.0]), "at least 2"),
        (lambda: charts.individuals([1.0, np.nan, 2.0]), "value 2"),
        (lambda: charts.individuals([1.0, 2.0], sigma=0.0), "above 0"),
        (lambda: charts.ewma([1.0], 1.0, 1.0, weight=1.5), "at most 1"),
        (lambda: charts.cusum([1.0], 0.0, -1.0), "above 0"),
        (lambda: count_charts.share_chart([3, 7], 5), "count 7 of 5"),
        (lambda: count_charts.count_chart([3, -1]), "count -1"),
    ],
)
def test_bad_series_is_refused_in_one_sentence(call, said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        call()
    assert "\n" not in str(caught.value)

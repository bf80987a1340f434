"""Measurement studies against worked answers, another library, and simulated methods of known error."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from castq.core.errors import InputError
from castq.statistics.gauge import by_ranges, crossed, range_constants
from castq.statistics.intervals import combination_interval, satterthwaite_degrees
from castq.statistics.nested_gauge import nested

# Free example of 2 parts x 2 operators x 2 repeats from the gageRR package, with its published components.
SMALL = np.array([[[0.0172, 0.0177], [0.0174, 0.0181]], [[0.0155, 0.0159], [0.0152, 0.0176]]])


def test_components_of_the_small_published_study() -> None:
    got = crossed(SMALL, pool_above=None)
    assert got.component("repeatability").variance == pytest.approx(8.325e-7)
    assert got.component("reproducibility").variance == pytest.approx(1.05e-7)
    assert got.component("part").variance == pytest.approx(1.18125e-6)
    gauge, total = got.component("gauge"), got.component("total")
    assert 100.0 * gauge.deviation / total.deviation == pytest.approx(66.52, abs=0.005)
    assert got.distinct_categories == 1
    assert "interaction component came out below 0" in got.remarks[1]


def test_pooling_follows_its_rule_and_says_so() -> None:
    pooled, apart = crossed(SMALL), crossed(SMALL, pool_above=None)
    # Interaction 8e-8 on 1 and repeats 3.33e-6 on 4 degrees of freedom, joined: 3.41e-6 on 5.
    assert pooled.component("repeatability").variance == pytest.approx((8e-8 + 3.33e-6) / 5)
    assert "joined with the repeats" in pooled.remarks[0] and "kept apart" in apart.remarks[0]
    strong = SMALL + np.array([[[0.01], [-0.01]], [[-0.01], [0.01]]])
    assert "kept apart" in crossed(strong).remarks[0]


def test_range_constants_of_the_published_tables() -> None:
    np.testing.assert_allclose(range_constants(2), (1.128, 0.853), atol=6e-4)
    np.testing.assert_allclose(range_constants(5), (2.326, 0.864), atol=6e-4)
    np.testing.assert_allclose(range_constants(10), (3.078, 0.797), atol=6e-4)
    # Factors of the average and range method: 3 repeats 0.5908, 3 operators 0.5231, 10 parts 0.3146.
    got = [1 / range_constants(3)[0], 1 / np.hypot(*range_constants(3)), 1 / np.hypot(*range_constants(10))]
    np.testing.assert_allclose(got, [0.5908, 0.5231, 0.3146], atol=6e-5)


def test_ranges_and_analysis_of_variance_agree_on_a_large_study() -> None:
    rng = np.random.default_rng(3)
    table = rng.normal(0, 2, (10, 1, 1)) + rng.normal(0, 0.6, (1, 3, 1)) + rng.normal(0, 0.5, (10, 3, 3))
    exact, quick = crossed(table), by_ranges(table)
    for name in ("repeatability", "part", "gauge"):
        assert quick.component(name).deviation == pytest.approx(exact.component(name).deviation, rel=0.15)
    assert np.isnan(quick.component("part").low)


def test_nested_study_of_equal_numbers_is_the_textbook_one() -> None:
    rng = np.random.default_rng(1)
    table = rng.normal(0, 1, (3, 1, 1)) + rng.normal(0, 2, (3, 6, 1)) + rng.normal(0, 1, (3, 6, 2))
    tops, parts = (np.broadcast_to(i, table.shape).ravel() for i in np.ogrid[:3, :6, :2][:2])
    got = nested(table.ravel(), parts.tolist(), tops.tolist())
    own = np.sum((table - table.mean(2, keepdims=True)) ** 2) / 18
    melts = 2 * np.sum((table.mean(2) - table.mean((1, 2))[:, None]) ** 2) / 15
    above = 12 * np.sum((table.mean((1, 2)) - table.mean()) ** 2) / 2
    assert got.component("repeatability").variance == pytest.approx(own)
    assert got.component("part").variance == pytest.approx((melts - own) / 2)
    assert got.component("operator").variance == pytest.approx(max(0.0, (above - melts) / 12))


def test_one_level_study_has_the_variance_ratio_of_another_library() -> None:
    groups = [np.array(g) for g in ([1.1, 1.4], [2.0, 2.2, 1.9], [0.7, 1.2], [1.6, 1.5, 1.7, 1.2])]
    parts = [i for i, g in enumerate(groups) for _ in g]
    rows = {row.source: row for row in nested(np.concatenate(groups), parts).anova}
    ratio = rows["part"].mean_square / rows["repeats"].mean_square
    assert ratio == pytest.approx(stats.f_oneway(*groups).statistic)


def test_names_of_melts_count_within_their_operator() -> None:
    x = [1.0, 1.2, 2.0, 2.3, 1.4, 1.1, 2.2, 2.6]
    same = nested(x, [1, 1, 2, 2, 1, 1, 2, 2], ["a"] * 4 + ["b"] * 4)
    own = nested(x, [1, 1, 2, 2, 3, 3, 4, 4], ["a"] * 4 + ["b"] * 4)
    assert same.components == own.components


def test_nested_estimates_of_unequal_numbers_are_right_on_average_and_intervals_hold() -> None:
    rng = np.random.default_rng(11)
    sizes = rng.integers(1, 5, (4, 8))
    tops = np.repeat(np.repeat(np.arange(4), 8), sizes.ravel())
    parts = np.repeat(np.tile(np.arange(8), 4), sizes.ravel())
    truth = {"operator": 0.25, "part": 1.0, "repeatability": 0.49}
    held, found = {name: 0 for name in truth}, {name: [] for name in truth}
    runs = 300
    for _ in range(runs):
        melts = rng.normal(0, 1.0, (4, 8))
        x = rng.normal(0, 0.5, 4)[tops] + melts[tops, parts] + rng.normal(0, 0.7, len(tops))
        got = nested(x, parts.tolist(), tops.tolist())
        for name, value in truth.items():
            part = got.component(name)
            held[name] += part.low <= value <= part.high
            found[name].append(part.variance)
    assert np.mean(found["repeatability"]) == pytest.approx(0.49, abs=0.02)
    assert np.mean(found["part"]) == pytest.approx(1.0, abs=0.06)
    # 95 % intervals: 285 of 300 expected, 3.8 standard deviation.
    assert all(count >= 0.91 * runs for count in held.values()), held


def test_interval_of_one_mean_square_is_the_chi_square_one() -> None:
    low, high = combination_interval([4.0], [9], [1.0], 0.95)
    assert low == pytest.approx(36 / stats.chi2.ppf(0.975, 9))
    assert high == pytest.approx(36 / stats.chi2.ppf(0.025, 9))


@pytest.mark.parametrize("factors", [(0.5, 0.5, 0.0), (1.0, -1.0, 0.0), (0.3, 0.4, -0.5)])
def test_modified_large_sample_intervals_hold_as_often_as_they_promise(factors: tuple[float, ...]) -> None:
    rng, degrees, truth = np.random.default_rng(5), (4, 9, 20), np.array([5.0, 2.0, 1.0])
    value, runs, held = float(np.dot(factors, truth)), 600, 0
    for squares in truth * rng.chisquare(degrees, (runs, 3)) / degrees:
        low, high = combination_interval(squares.tolist(), degrees, factors, 0.90)
        held += low <= value <= high
    assert 0.87 <= held / runs <= 0.955


def test_satterthwaite_degrees_of_two_equal_parts_add() -> None:
    assert satterthwaite_degrees([3.0, 3.0], [5, 5], [0.5, 0.5]) == pytest.approx(10.0)
    assert satterthwaite_degrees([3.0, 0.0], [5, 5], [1.0, 1.0]) == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: crossed([[1.0, 2.0]]), "parts x operators x repeats"),
        (lambda: crossed(np.ones((3, 2, 2))), "no repeat differs"),
        (lambda: nested([1.0, 2.0, 3.0, 4.0], [1, 2, 3, 4]), "repeats in some"),
        (lambda: nested([1.0, 2.0, 3.0, 4.0], [1, 1, 2]), "one of each a row"),
        (lambda: nested([1.0, 1.0, 3.0, 3.0], [1, 1, 2, 2]), "no repeat differs"),
    ],
)
def test_study_that_cannot_tell_is_refused(call, said: str) -> None:
    with pytest.raises(InputError, match=said):
        call()

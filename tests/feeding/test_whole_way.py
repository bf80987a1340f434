"""The way of each place as a whole, on bars whose times are known."""

from __future__ import annotations

import numpy as np

from castq.feeding.flood import flood
from castq.feeding.paths import feeding_paths
from castq.feeding.whole_way import whole_way_niyama, zone_margin


def bar(times, feeder_at=0, spacing_mm=2.0):
    """Return the ways of a straight bar of cells with cut-off times."""
    field = np.asarray(times, dtype=np.float32).reshape(-1, 1, 1)
    feeder = np.zeros(field.shape, dtype=bool)
    feeder[feeder_at] = True
    return feeding_paths(flood(field, feeder, spacing_mm=spacing_mm), np.full(field.shape, 4.0, dtype=np.float32))


def codes(*zones):
    return np.array(zones, dtype=np.int8).reshape(-1, 1, 1)


def test_margin_is_the_closing_beyond_the_zone_over_the_own_time() -> None:
    paths = bar([100.0, 90.0, 60.0, 50.0, 40.0])
    margin = zone_margin(paths, codes(1, 1, 2, 2, 3), np.zeros(5, dtype=bool))
    np.testing.assert_allclose(margin, [np.inf, np.inf, 90.0 / 60.0, 90.0 / 50.0, 50.0 / 40.0])


def test_a_pool_has_the_margin_of_its_choke_in_or_beyond_its_zone() -> None:
    paths = bar([100.0, 90.0, 30.0, 50.0, 40.0])
    beyond = zone_margin(paths, codes(1, 1, 2, 3, 3), np.array([False, False, False, True, True]))
    np.testing.assert_allclose(beyond[3:], [30.0 / 50.0, 30.0 / 40.0])
    within = zone_margin(paths, codes(1, 1, 2, 2, 2), np.array([False, False, False, True, True]))
    np.testing.assert_allclose(within[3:], [30.0 / 50.0, 30.0 / 40.0])


def test_what_is_no_pool_is_fed() -> None:
    paths = bar([100.0, 90.0, 49.0, 50.0, 40.0])
    margin = zone_margin(paths, codes(1, 1, 2, 3, 3), np.zeros(5, dtype=bool))
    np.testing.assert_allclose(margin[3:], [1.0, 49.0 / 40.0])


def test_niyama_of_the_whole_way_is_its_mean_slope() -> None:
    paths = bar([100.0, 90.0, 60.0, 50.0, 40.0])
    found = whole_way_niyama(paths, np.full(5, 4.0))
    assert np.isnan(found[0])
    np.testing.assert_allclose(found[1:], [2.0 * 10.0 / 2.0, 2.0 * 40.0 / 4.0, 2.0 * 50.0 / 6.0, 2.0 * 60.0 / 8.0])


def test_no_niyama_where_the_feeder_closes_first() -> None:
    found = whole_way_niyama(bar([50.0, 60.0, 40.0]), np.ones(3))
    assert np.isnan(found[1]) and found[2] > 0.0

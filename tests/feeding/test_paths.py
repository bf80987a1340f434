"""Ways to the feeder: against slower searches, and on shapes whose way is known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree

from castq.core.errors import InputError
from castq.feeding.flood import flood
from castq.feeding.paths import feeding_paths, way_dimensionless_niyama, way_from, way_niyama
from castq.physics.niyama import dimensionless_niyama
from tests.feeding.fields import line, random_field, slowest_choke

FIELDS = st.tuples(st.integers(0, 10**6), st.tuples(*[st.integers(1, 5)] * 3), st.sampled_from([3, 8, 10**6]))
QUICK = settings(max_examples=60, deadline=None, derandomize=True)


def paths_of(cutoff, gate, wall_mm=1.0, spacing_mm=1.0):
    return feeding_paths(flood(cutoff, gate, spacing_mm=spacing_mm), np.full_like(cutoff, wall_mm))


@QUICK
@given(FIELDS)
def test_ways_close_as_late_as_any_way_can(case):
    cutoff, gate = random_field(*case)
    paths = paths_of(cutoff, gate)
    expected = slowest_choke(cutoff, gate)
    np.testing.assert_array_equal(paths.flood.on_grid(paths.closes_s, fill=0.0), expected)
    np.testing.assert_allclose(paths.margin, paths.closes_s / paths.flood.cutoff_s, rtol=1e-6)


@QUICK
@given(FIELDS)
def test_every_way_leads_step_by_step_to_the_feeder_and_closes_when_it_says(case):
    cutoff, gate = random_field(*case)
    paths = paths_of(cutoff, gate)
    for c in range(paths.flood.flat.size):
        way = way_from(paths, paths.flood.place(c))
        assert (np.abs(np.diff(way.cells, axis=0)).sum(axis=1) == 1).all()
        if paths.choke[c] < 0:
            assert paths.closes_s[c] == 0.0 and np.isnan(paths.length_mm[c])
            continue
        assert gate[tuple(way.cells[-1])] and not gate[tuple(way.cells[:-1].T)].any()
        assert way.cutoff_s.min() == paths.closes_s[c] == way.cutoff_s[way.choke]
        assert paths.flood.cutoff_s[paths.choke[c]] == paths.closes_s[c]


def spanning_tree_minimax(time):
    """Return the latest closing of ways from cell 0 by a minimum spanning tree over the faces between cells."""
    count = time.size
    number = np.arange(count).reshape(time.shape)
    pairs = [(np.delete(number, -1, a).ravel(), np.delete(number, 0, a).ravel()) for a in range(3)]
    a, b = (np.concatenate([pair[side] for pair in pairs]) for side in (0, 1))
    flat = time.ravel()
    tree = minimum_spanning_tree(coo_array((1e3 - np.minimum(flat[a], flat[b]), (a, b)), shape=(count, count)))
    order, before = breadth_first_order(tree, 0, directed=False)
    closes = flat.copy()
    for c in order[1:]:
        closes[c] = min(closes[c], closes[before[c]])
    return closes


@pytest.mark.parametrize("seed", range(5))
def test_ways_agree_with_a_spanning_tree(seed):
    time = np.random.default_rng(seed).uniform(1.0, 100.0, (12, 9, 7)).astype(np.float32)
    gate = np.zeros(time.shape, dtype=bool)
    gate[0, 0, 0] = True
    np.testing.assert_allclose(paths_of(time, gate).closes_s, spanning_tree_minimax(time), rtol=1e-6)


def test_margin_and_choke_of_a_chain():
    paths = paths_of(*line(20, 5, 12, 7, 10))
    np.testing.assert_allclose(paths.closes_s, [20, 5, 5, 5, 5])
    np.testing.assert_allclose(paths.margin, [1, 1, 5 / 12, 5 / 7, 0.5])
    assert paths.choke.tolist() == [0, 1, 1, 1, 1]
    np.testing.assert_allclose(paths.length_mm, [0, 1, 2, 3, 4])


def bar(slope_s_mm, angle_deg=0.0, spacing_mm=2.0, across_s=6.0):
    """Return a bar of 120 x 20 x 20 mm whose time falls away from the feeder and from its middle to its skin."""
    cells = 70
    x = spacing_mm * (np.arange(cells) + 0.5)
    angle = np.deg2rad(angle_deg)
    along = np.cos(angle) * x[:, None] + np.sin(angle) * x[None, :]
    aside = -np.sin(angle) * x[:, None] + np.cos(angle) * x[None, :] - (10.0 if angle_deg == 0.0 else 0.0)
    shape = (cells, cells, 10)
    z = (spacing_mm * (np.arange(10) + 0.5) - 10.0)[None, None, :]
    skin = np.maximum(np.abs(aside)[:, :, None], np.abs(z)) / 10.0
    time = 40.0 - slope_s_mm * along[:, :, None] - across_s * skin**2
    inside = np.broadcast_to((along > 0)[:, :, None] & (along < 120)[:, :, None], shape) & (skin <= 1.0)
    cutoff = np.where(inside, time, np.nan).astype(np.float32)
    gate = inside & np.broadcast_to((along < 6.0)[:, :, None], shape)
    return cutoff, gate, np.broadcast_to(along[:, :, None], shape)


@pytest.mark.parametrize("angle", [0.0, 30.0, 45.0])
def test_slope_along_a_bar_is_that_of_its_axis_at_skin_and_middle_alike(angle):
    cutoff, gate, along = bar(0.1, angle)
    paths = paths_of(cutoff, gate, wall_mm=20.0, spacing_mm=2.0)
    where = paths.flood.on_grid(paths.slope_s_mm)
    far = (along > 60.0) & (along < 115.0) & ~np.isnan(cutoff)
    # Through the wall the time changes by 6 s in 10 mm, six times as steep as along the bar.
    np.testing.assert_allclose(np.median(where[far]), 0.1, rtol=0.08)
    assert np.quantile(where[far], [0.05, 0.95]) == pytest.approx([0.1, 0.1], abs=0.05)
    assert (paths.margin == 1.0).all() and (paths.flood.on_grid(paths.rising_share)[far] > 0.99).all()


@pytest.mark.parametrize("angle", [0.0, 30.0, 45.0])
def test_length_of_a_way_does_not_count_the_stairs_of_the_grid(angle):
    cutoff, gate, along = bar(0.1, angle)
    paths = paths_of(cutoff, gate, wall_mm=20.0, spacing_mm=2.0)
    length = paths.flood.on_grid(paths.length_mm)
    middle = (along > 100.0) & (cutoff > 40.0 - 0.1 * along - 0.5)
    np.testing.assert_allclose(length[middle], along[middle] - 6.0, rtol=0.08, atol=2.0)


def test_reserve_looks_two_walls_ahead():
    times = np.linspace(100.0, 60.0, 41)
    paths = paths_of(*line(*times), wall_mm=4.0)
    # Half a wall and a wall and a half of 4 cells: 8 cells further the time is 8 s later.
    np.testing.assert_allclose(paths.reserve[20:], (times[20:] + 8.0) / times[20:], rtol=1e-6)
    np.testing.assert_allclose(paths.slope_s_mm[20:], 1.0, rtol=1e-6)
    assert np.isnan(paths.reserve[0])


def test_behind_a_choke_the_slope_turns_negative_and_niyama_is_silent():
    times = np.concatenate([np.linspace(60.0, 20.0, 41), np.linspace(20.5, 50.0, 60)])
    paths = paths_of(*line(*times), wall_mm=4.0)
    assert (paths.slope_s_mm[70:] < 0.0).all() and (paths.slope_s_mm[10:35] > 0.0).all()
    niyama = way_niyama(paths, 0.64)
    assert np.isnan(niyama[70:]).all()
    np.testing.assert_allclose(niyama[20:35], 0.8 * 1.0, rtol=1e-5)
    assert paths.rising_share[-1] == pytest.approx(0.4, abs=0.06)


def test_pressure_from_the_feeder_counts_while_the_way_is_open():
    times = np.concatenate([np.linspace(60.0, 20.0, 41), [40.0] * 20])
    paths = paths_of(*line(*times), wall_mm=4.0)
    star = way_dimensionless_niyama(
        paths, 0.64, 40.0, closed_atm=1.0, held_atm=0.8, shrinkage_pct=5.0, freezing_range_k=58.0
    )
    assert star[30] == pytest.approx(float(dimensionless_niyama(0.8, 40.0, 1.8, 5.0, 58.0)), rel=1e-5)
    # Far behind the choke the field is flat: no slope, no drive, whatever the pressure.
    assert star[-1] == 0.0 and paths.margin[-1] == 0.5


def test_drawn_way_keeps_its_ends_and_stays_near_its_cells():
    cutoff, gate, _ = bar(0.1, 30.0)
    paths = paths_of(cutoff, gate, wall_mm=20.0, spacing_mm=2.0)
    start = paths.flood.place(int(np.nanargmax(paths.length_mm)))
    way = way_from(paths, start)
    np.testing.assert_array_equal(way.line[[0, -1]], way.cells[[0, -1]])
    assert np.abs(way.line - way.cells).max() < 2.5
    turns = [np.linalg.norm(np.diff(np.asarray(w, float), 2, axis=0), axis=1).sum() for w in (way.line, way.cells)]
    assert turns[0] < 0.4 * turns[1]


def test_way_from_the_void_is_refused():
    with pytest.raises(InputError, match="no metal"):
        way_from(paths_of(*line(20, np.nan, 5)), (1, 0, 0))

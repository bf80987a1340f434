"""Pools on handmade fields with known answers, and against labelling at every time."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import label

from castq.core.errors import InputError
from castq.feeding.flood import flood
from castq.feeding.islands import find_islands
from castq.feeding.paths import feeding_paths
from tests.feeding.fields import cut_off_at, line, line_flood, random_field

ALLOY = {"shrinkage_pct": 5.0, "cutoff_fs": 0.7}
ALL = {"least_share": 0.0, "least_mm3": 0.0}
FIELDS = st.tuples(st.integers(0, 10**6), st.tuples(*[st.integers(1, 5)] * 3), st.sampled_from([3, 8, 10**6]))
QUICK = settings(max_examples=60, deadline=None, derandomize=True)


def dumb_bell():
    """Return two cubes of 5 cells joined by a neck of 3 that closes at 4 s, the left cube latest in its middle."""
    cutoff = np.full((13, 5, 5), np.nan, dtype=np.float32)
    cutoff[:5], cutoff[8:] = 10.0, 8.0
    cutoff[2, 2, 2], cutoff[10, 2, 2] = 12.0, 9.0
    cutoff[5:8, 2, 2] = 5.0, 4.0, 6.0
    return cutoff


def test_dumb_bell_fed_from_one_side_leaves_the_other_as_an_island():
    cutoff = dumb_bell()
    gate = np.zeros(cutoff.shape, dtype=bool)
    gate[0] = True
    found = find_islands(flood(cutoff, gate, spacing_mm=2.0), **ALLOY, least_share=0.1)
    (island,) = found.each
    assert (island.cut_s, island.last_s, island.persistence_s) == (4.0, 9.0, 5.0)
    assert (island.last_place, island.choke_place, island.toward_place) == ((10, 2, 2), (6, 2, 2), (5, 2, 2))
    # 125 cells of the cube and the one of the neck that closes at 6 s, 8 mm3 each.
    assert island.volume_mm3 == pytest.approx(126 * 8.0)
    assert island.liquid_mm3 == pytest.approx(0.3 * 126 * 8.0)
    assert island.shrinkage_mm3 == pytest.approx(0.05 * 0.3 * 126 * 8.0)
    assert found.fed_mm3 == pytest.approx(127 * 8.0)
    assert (found.label[7:, 2, 2] == 0).all() and (found.label[:7] == -1).all()


def test_dumb_bell_fed_through_its_neck_falls_into_two_pools_at_once():
    cutoff = dumb_bell()
    gate = np.zeros(cutoff.shape, dtype=bool)
    gate[6, 2, 2] = True
    fraction = np.full(cutoff.shape, 0.5, dtype=np.float32)
    found = find_islands(flood(cutoff, gate, spacing_mm=2.0, fraction=fraction), **ALLOY, least_share=0.1)
    assert [island.cut_s for island in found.each] == [4.0, 4.0]
    assert [island.volume_mm3 for island in found.each] == [pytest.approx(126 * 4.0)] * 2
    assert {island.last_s for island in found.each} == {12.0, 9.0}
    assert all(island.choke_place == island.toward_place == (6, 2, 2) for island in found.each)


def test_liquid_when_an_island_is_cut_off_counts_how_far_each_cell_has_frozen():
    cutoff, gate = line(20, 4, 8, 10)
    begin = np.array([0.0, 0.0, 2.0, 6.0], dtype=np.float32)[:, None, None]
    found = find_islands(flood(cutoff, gate, spacing_mm=1.0), **ALLOY, **ALL, liquidus_s=begin)
    (island,) = found.each
    # At 4 s the cell of 2 to 8 s is a third of the way to 0.7 solid, the one of 6 to 10 s is still liquid.
    assert island.liquid_mm3 == pytest.approx((1.0 - 0.7 / 3.0) + 1.0)


def test_chain_of_bulbs_gives_the_merge_tree():
    found = find_islands(line_flood(20, 5, 12, 7, 10, 6, 9), **ALLOY, **ALL)
    by_last = {island.last_s: island for island in found.each}
    assert sorted(by_last) == [9.0, 10.0, 12.0]
    root = found.each.index(by_last[12.0])
    assert by_last[12.0].parent == -1
    assert by_last[10.0].parent == by_last[9.0].parent == root
    assert [by_last[last].cut_s for last in (12.0, 10.0, 9.0)] == [5.0, 7.0, 6.0]
    assert [by_last[last].volume_mm3 for last in (12.0, 10.0, 9.0)] == [5.0, 1.0, 1.0]
    assert by_last[9.0].toward_place == (4, 0, 0) and by_last[12.0].toward_place == (0, 0, 0)
    assert (found.root[2:] == root).all() and (found.root[:2] == -1).all()
    labels = found.label.ravel()
    assert labels[6] == found.each.index(by_last[9.0]) and labels[4] == found.each.index(by_last[10.0])
    assert (labels[[2, 3, 5]] == root).all()


def test_slope_towards_the_feeder_leaves_no_pool():
    flooded = line_flood(*np.linspace(30.0, 10.0, 40))
    found = find_islands(flooded, **ALLOY, **ALL)
    assert found.each == () and found.fed_mm3 == 40.0
    assert (found.label == -1).all()


def test_noise_is_left_out_by_time_and_by_volume():
    ripple = line_flood(20, 15.9, 16, 15.9, 15.8, 14)
    assert len(find_islands(ripple, **ALLOY, **ALL).each) == 1
    assert find_islands(ripple, **ALLOY, least_share=0.05, least_mm3=0.0).each == ()
    small = line_flood(20, 5, 16)
    assert find_islands(small, **ALLOY, least_share=0.05, least_mm3=2.0).each == ()
    assert find_islands(small, **ALLOY, least_share=0.05, least_mm3=2.0).fed_mm3 == 3.0


def test_metal_that_never_had_a_way_is_an_island_from_the_start():
    (island,) = find_islands(line_flood(20, np.nan, 8, 9), **ALLOY, **ALL).each
    assert (island.cut_s, island.last_s, island.volume_mm3) == (0.0, 9.0, 2.0)
    assert island.choke_place is None and island.toward_place is None


def test_feeder_that_never_closes_is_allowed():
    (island,) = find_islands(line_flood(np.inf, 5, 9), **ALLOY, **ALL).each
    assert (island.cut_s, island.volume_mm3) == (5.0, 1.0)


@pytest.mark.parametrize(
    ("times", "feeder", "words"),
    [((5, 0, 3), (0,), "zero or less"), ((5, np.inf, 3), (0,), "never closes"), ((5, 3), (), "no metal stands")],
)
def test_bad_fields_are_refused_in_one_sentence(times, feeder, words):
    with pytest.raises(InputError, match=words):
        line_flood(*times, feeder=feeder)


@QUICK
@given(FIELDS)
def test_cells_cut_off_are_those_of_labelling_at_every_time(case):
    cutoff, gate = random_field(*case)
    flooded = flood(cutoff, gate, spacing_mm=1.0)
    paths = feeding_paths(flooded, np.ones_like(cutoff))
    closes = flooded.on_grid(paths.closes_s, fill=-1.0)
    time = np.nan_to_num(cutoff, nan=-1.0)
    levels = np.unique(cutoff[~np.isnan(cutoff)])
    for now in np.concatenate([[0.0], levels, 0.5 * (levels[1:] + levels[:-1])])[:60]:
        np.testing.assert_array_equal((closes <= now) & (time > now), cut_off_at(cutoff, gate, now))


@QUICK
@given(FIELDS)
def test_each_pool_is_one_component_at_its_cut_and_none_just_before(case):
    cutoff, gate = random_field(*case)
    flooded = flood(cutoff, gate, spacing_mm=1.0)
    time = np.nan_to_num(cutoff, nan=-1.0)
    for island in find_islands(flooded, **ALLOY, **ALL).each:
        numbers, _ = label(time > island.cut_s)
        own = numbers == numbers[island.last_place]
        assert own.sum() == island.volume_mm3
        assert time[own].max() == island.last_s
        assert not (gate & own).any()
        if island.choke_place is None:
            continue
        numbers, _ = label(time >= island.cut_s)
        joined = numbers == numbers[island.last_place]
        assert joined[island.choke_place] and joined[island.toward_place]
        assert time[island.choke_place] == island.cut_s and not own[island.toward_place]
        assert (gate & joined).any() == (island.parent < 0) or island.cut_s == 0.0


@QUICK
@given(FIELDS)
def test_metal_is_conserved_and_labels_agree_with_the_tree(case):
    cutoff, gate = random_field(*case)
    flooded = flood(cutoff, gate, spacing_mm=1.0)
    found = find_islands(flooded, **ALLOY, least_share=0.3, least_mm3=2.0)
    total = np.count_nonzero(~np.isnan(cutoff))
    assert sum(island.volume_mm3 for island in found.cut_off) + found.fed_mm3 == pytest.approx(total)
    held = np.bincount(found.root.ravel() + 1, minlength=len(found.each) + 1)[1:]
    for number, island in enumerate(found.each):
        assert held[number] == (island.volume_mm3 if island.parent < 0 else 0)
        if island.parent >= 0:
            mother = found.each[island.parent]
            assert mother.cut_s <= island.cut_s and mother.last_s >= island.last_s
            assert mother.volume_mm3 > island.volume_mm3


def signature(cutoff, gate):
    found = find_islands(flood(cutoff, gate, spacing_mm=1.0), **ALLOY, **ALL)
    return sorted((i.cut_s, i.last_s, i.volume_mm3, i.parent < 0) for i in found.each)


@QUICK
@given(FIELDS, st.sampled_from([(0, 1), (0, 2), (1, 2)]))
def test_pools_do_not_depend_on_how_the_part_lies_in_the_grid(case, plane):
    cutoff, gate = random_field(*case)
    turned = np.rot90(cutoff, axes=plane), np.rot90(gate, axes=plane)
    assert signature(cutoff, gate) == signature(*(np.ascontiguousarray(a) for a in turned))
    assert signature(cutoff, gate) == signature(cutoff[::-1].copy(), gate[::-1].copy())


@QUICK
@given(FIELDS)
def test_pools_scale_with_time(case):
    cutoff, gate = random_field(*case)
    scaled = signature(4.0 * cutoff, gate)
    assert scaled == [(4.0 * cut, 4.0 * last, volume, root) for cut, last, volume, root in signature(cutoff, gate)]


@QUICK
@given(FIELDS, st.integers(0, 10**6))
def test_a_further_feeder_adds_no_pool_and_closes_no_way_earlier(case, seed):
    cutoff, gate = random_field(*case)
    more = gate | ((np.random.default_rng(seed).random(gate.shape) < 0.1) & ~np.isnan(cutoff))
    wall = np.ones_like(cutoff)
    before, after = (flood(cutoff, where, spacing_mm=1.0) for where in (gate, more))
    assert (feeding_paths(after, wall).closes_s >= feeding_paths(before, wall).closes_s).all()
    assert len(find_islands(after, **ALLOY, **ALL).each) <= len(find_islands(before, **ALLOY, **ALL).each)

"""Packed bodies of the solid solver: each cell keeps its neighbours, and the order of the work changes no result."""

from __future__ import annotations

import gc
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numba import njit
from numpy.typing import NDArray

from castq.thermal import solid_kernel as kernel
from castq.thermal import solid_rows
from castq.thermal.lanes import LANES, any_above, larger, put, spread, take, zeros
from castq.thermal.solid_bodies import Casting, Die
from castq.thermal.solid_cuts import ease
from castq.thermal.solid_grid import whole_cells
from castq.thermal.solid_kernel import GUARD
from castq.thermal.solid_notes import Notes
from castq.thermal.solid_problem import Pace
from castq.thermal.solid_rows import pack, packed
from tests.thermal.test_solid_march import A356, bar


def ragged(seed: int, filled: float) -> NDArray[np.bool_]:
    mask = np.zeros((9, 11, 75), dtype=bool)
    mask[2:-2, 2:-2, 2:-2] = np.random.default_rng(seed).random((5, 7, 71)) < filled
    return mask


@pytest.mark.parametrize("filled", [0.03, 0.3, 0.97])
def test_packed_cells_have_the_neighbours_and_faces_of_the_box(filled: float) -> None:
    region = whole_cells(ragged(1, filled))
    rows, at = pack(region)
    size = rows.volume.size
    assert np.array_equal(rows.active, at[region.active]) and np.array_equal(np.flatnonzero(rows.volume), rows.active)
    steps = (region.shape[1] * region.shape[2], region.shape[2])
    for here, place in zip(region.active, rows.active, strict=True):
        block = (place - GUARD) // LANES
        for side, step in enumerate((-steps[0], steps[0], -steps[1], steps[1])):
            face = rows.faces[side * size + place]
            assert (face > 0) == (region.volume[here + step] > 0.0)
            if face > 0:
                assert place + rows.near[4 * block + side] == at[here + step]
        assert (rows.faces[4 * size + place] > 0) == (region.volume[here + 1] > 0.0)
        assert (rows.faces[4 * size + place - 1] > 0) == (region.volume[here - 1] > 0.0)


def test_a_packed_body_is_kept_only_as_long_as_the_body() -> None:
    region = whole_cells(ragged(2, 0.5))
    assert pack(region)[0] is pack(region)[0]
    before = len(solid_rows._PACKED)
    del region
    gc.collect()
    assert len(solid_rows._PACKED) < before


def test_a_problem_has_to_be_packed_before_its_bodies_are_made() -> None:
    with pytest.raises(TypeError, match="packed first"):
        Casting(bar(A356, 690.0, 350.0, 1.0, (4, 4)), Pace())


@pytest.mark.parametrize("single", [True, False])
def test_stages_plane_by_plane_give_the_bits_of_stages_one_after_the_other(single: bool) -> None:
    """Pairs of cells that exchange nothing make each stage end before the next begins."""
    problem = packed(bar(A356, 690.0, 350.0, 1.0, (4, 4), die_k_w_mk=27.0, die_j_m3k=4.3e6))
    mask = ragged(3, 0.8)
    region, none = pack(whole_cells(mask))[0], np.zeros(1, dtype=np.int64)
    fields: Any = {"die": region, "casting": region}
    temp = np.random.default_rng(4).normal(400.0, 50.0, region.volume.size)
    problem = replace(problem, **fields, die_temp_c=temp)
    results = []
    for waiting in (False, True):
        casting, die = Casting(problem, Pace(single=single)), Die(problem, Pace(single=single))
        casting.h[region.active] = 1e6 * temp[region.active]
        kernel.renew(casting.curve, casting.h, casting.theta)
        for body in (casting, die):
            if waiting:
                idle = (none + GUARD, none + GUARD, np.zeros(1, body.real), none[:0])
                body.frame = (body.frame[0], idle, *body.frame[2:])
            assert [body.advance(tau) > 3 for tau in (0.5, 0.2, 2.0)] == [True] * 3
        results.append((casting.h[region.active], die.temp[region.active]))
    for wave, waited in zip(*results, strict=True):
        assert np.isfinite(wave).all() and np.ptp(wave) > 0.0
        np.testing.assert_array_equal(wave, waited)


def test_heavy_cells_are_eased_to_the_limit_and_no_others() -> None:
    region = whole_cells(ragged(5, 1.0))
    volume = region.volume.copy()
    middle = np.ravel_multi_index((4, 5, 30), region.shape)
    volume[middle] = 0.5
    weights = tuple(weight.copy() for weight in region.weights)
    steps, factor = (region.shape[1] * region.shape[2], region.shape[2], 1), np.ones(volume.size, np.float32)
    while ease(np.flatnonzero(volume), steps, 650.0, volume, factor, weights):
        pass
    total = sum(float(w[middle]) + float(w[middle - step]) for w, step in zip(weights, steps, strict=True))
    assert 300.0 < total <= 325.0
    assert sum(np.count_nonzero(new != old) for new, old in zip(weights, region.weights, strict=True)) == 6


@njit
def _worked(a, b, out):  # type: ignore[no-untyped-def]  # pragma: no cover
    left, right = take(a, 1, out), take(b, 0, out)
    put(out, 0, left * right + larger(left, right) - spread(out[LANES]))
    return any_above(left, right)


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_lanes_work_as_plain_numbers_do(kind: type[np.floating[Any]]) -> None:
    rng = np.random.default_rng(6)
    a, b, out = rng.integers(0, 255, 20).astype(np.uint8), rng.normal(0.0, 90.0, 16).astype(np.float32), zeros(17, kind)
    out[LANES] = 0.5
    assert _worked(a, b, out)
    left, right = a[1:17].astype(kind), b.astype(kind)
    np.testing.assert_allclose(out[:LANES], left * right + np.maximum(left, right) - 0.5, rtol=1e-5)
    assert not _worked(np.zeros(20, np.uint8), np.ones(16, np.float32), out)
    assert zeros(5, kind).ctypes.data % 64 == 0


@pytest.mark.parametrize(("beside_k", "reported_k"), [(0.0, 5.0), (8.0, 0.0)])
def test_a_place_warmer_than_all_around_it_is_reported(beside_k: float, reported_k: float) -> None:
    """One of five solid cells warms by 5 K in a step; beside a place that was 8 K warmer nothing is wrong with that."""
    problem = packed(bar(A356, 690.0, 350.0, 1.0, (5, 2)))
    casting = Casting(problem, Pace(single=False))
    notes, slope = Notes(problem, casting), problem.table.lines[0, 0, 3]
    cell = casting.place
    casting.h[cell], casting.call[:] = -1e8, True
    casting.h[cell[2]] += 5.0 / slope
    casting.h[cell[3]] += beside_k / slope
    casting.d1[cell[2]] = 5.0 / slope
    notes.take(casting, 10.0, 0.1)
    assert notes.reheat_k == pytest.approx(reported_k, abs=1e-9)
    assert notes.all_solid

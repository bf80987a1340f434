"""Draws: seeded, standard normal, one dimension a name."""

from __future__ import annotations

import numpy as np

from castq.core.sampling import normal_draws


def test_draws_repeat_and_do_not_depend_on_order() -> None:
    first = normal_draws(["b", "a", "c"], 64, seed=7)
    again = normal_draws(["c", "b", "a", "a"], 64, seed=7)
    assert all(np.array_equal(first[name], again[name]) for name in "abc")
    assert not np.array_equal(first["a"], normal_draws(["a", "b", "c"], 64, seed=8)["a"])


def test_draws_are_standard_normal_and_uncorrelated() -> None:
    draws = normal_draws([f"x{i}" for i in range(20)], 1024, seed=1)
    table = np.array(list(draws.values()))
    assert np.abs(table.mean(axis=1)).max() < 0.02
    assert np.abs(table.std(axis=1) - 1).max() < 0.03
    assert np.abs(np.corrcoef(table) - np.eye(20)).max() < 0.12
    # 10th and 90th percentile of the standard normal: -1.2816 and 1.2816 (any statistics table)
    assert np.allclose(np.percentile(table, [10, 90], axis=1).mean(axis=1), [-1.2816, 1.2816], atol=0.02)


def test_any_count_works() -> None:
    assert normal_draws(["a"], 100, seed=0)["a"].shape == (100,)
    assert normal_draws([], 8, seed=0) == {}

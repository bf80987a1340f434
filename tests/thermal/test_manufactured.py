"""The march of the solid solver against manufactured solutions: second order in space and in time."""

from __future__ import annotations

import numpy as np
import pytest

from tests.thermal import closed_forms as exact
from tests.thermal.manufactured import film_off, space_orders, time_orders, two_metal_error
from tests.thermal.solid_cases import BALL_MM, ball_time_s
from tests.thermal.test_solid_march import orders


def test_metal_film_and_die_together_are_second_order_in_space() -> None:
    """Both bodies with sources, joined by a film: the whole march but for freezing."""
    assert min(space_orders()) > 1.9
    assert np.abs(film_off(32, 0.005)).max() < 2e-3


def test_sources_and_the_film_are_second_order_in_time() -> None:
    assert min(time_orders()) > 1.9


def test_order_falls_where_the_step_is_long_for_the_cells() -> None:
    """The heat through the film is held over a step: halved together, step and cell leave about first order."""
    errors = [np.abs(film_off(cells, 4.0 / cells)).max() for cells in (16, 32, 64)]
    assert 0.7 < min(orders(errors)) < 1.5
    assert errors[-1] < 5e-3


def test_conduction_between_two_conductivities_is_second_order_in_space() -> None:
    errors = [two_metal_error(cells) for cells in (8, 16, 32)]
    assert min(orders(errors)) > 1.8
    assert errors[-1] < 3e-3


@pytest.mark.parametrize(("biot", "fourier"), [(1.0, 0.25), (5.0, 0.2)])
def test_ball_behind_a_film_cools_as_the_series_says(biot: float, fourier: float) -> None:
    """A ball on cut cells, without freezing: 12 to 24 voxels across."""
    left = exact.ball_middle(biot, fourier)
    time_s = fourier * (1e-3 * BALL_MM) ** 2 * 2550.0 * 1000.0 / 100.0
    errors = [ball_time_s(biot, left, cell) / time_s - 1.0 for cell in (4.0, 2.0)]
    assert abs(errors[0]) < 0.006 and abs(errors[1]) < 0.002


def test_closed_forms_give_values_worked_to_thirty_digits() -> None:
    worked = [0.22001627274294, 0.46478592064624, 0.6200626333136, 0.80060136280561]
    np.testing.assert_allclose([exact.stefan_root(st) for st in (0.1, 0.5, 1.0, 2.0)], worked, rtol=1e-12)
    slabs = [exact.slab_middle(*at) for at in ((1.0, 0.5), (0.1, 5.0), (10.0, 0.2))]
    np.testing.assert_allclose(slabs, [0.772526383424, 0.626376723636, 0.829254730823], rtol=1e-11)
    # eta 0.5 and h sqrt(at)/k 1: depth sqrt(a t), film k / sqrt(a t).
    share = exact.half_space_share(1e3, 1.0, 1.0, (1.0, 1.0))
    assert share == pytest.approx(0.22904914802799, rel=1e-12)
    # At a small Biot number ball and slab cool evenly.
    assert exact.ball_middle(1e-5, 2e4) == pytest.approx(np.exp(-0.6), rel=1e-4)
    assert exact.slab_middle(1e-5, 6e4) == pytest.approx(np.exp(-0.6), rel=1e-4)

"""Feeding and shrinkage: closure, criteria, and the geometry of junctions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from castq.physics.junctions import freezing_time_ratio, inscribed_circle_steps, t_junction_circle, x_junction_circle
from castq.physics.niyama import dimensionless_niyama, lcc, niyama, niyama_from_times, niyama_rank, niyama_shrinkage
from castq.physics.shrinkage import (
    GATE_MARGIN,
    STEP_MARGIN,
    feeding_margin,
    freezing_order_reserve,
    isolated_pool_shrinkage,
    open_share,
    shrinkage_porosity,
    solidification_shrinkage,
)

margins = st.floats(0.2, 3.0)
stars = st.floats(0.01, 1000.0)
walls = st.floats(2.0, 40.0)


@given(margin=margins, step=st.floats(0.001, 1.0), star=st.one_of(stars, st.just(float("nan"))))
def test_a_better_feeding_margin_never_adds_shrinkage(margin: float, step: float, star: float) -> None:
    worse, better = shrinkage_porosity([margin, margin + step], star, 5.27, 0.68)
    assert 0 <= better <= worse + 1e-12 <= 5.27 + 1e-9


@given(margin=margins, star=stars, growth=st.floats(1.01, 10.0))
def test_a_better_niyama_value_never_adds_shrinkage(margin: float, star: float, growth: float) -> None:
    worse, better = shrinkage_porosity(margin, [star, star * growth], 5.27, 0.68)
    assert better <= worse + 1e-12


@pytest.mark.parametrize("margin", [STEP_MARGIN, 1.0])
def test_the_closure_has_no_jump(margin: float) -> None:
    below, above = shrinkage_porosity([margin - 1e-9, margin + 1e-9], 50.0, 5.27, 0.68)
    assert below == pytest.approx(above, abs=1e-6)


def test_a_zone_with_room_to_feed_shows_the_niyama_part_alone() -> None:
    assert shrinkage_porosity(1.2, 40.0, 5.27, 0.68) == pytest.approx(float(niyama_shrinkage(40.0, 5.27)), rel=1e-12)
    assert shrinkage_porosity(1.2, np.nan, 5.27, 0.68) == 0
    assert shrinkage_porosity(0.8, np.nan, 5.27, 0.68) == isolated_pool_shrinkage(5.27, 0.68)


def test_a_margin_that_is_not_known_stays_unknown() -> None:
    assert np.isnan(shrinkage_porosity(np.nan, 40.0, 5.27, 0.68))


@given(star=stars, growth=st.floats(1.001, 100.0))
def test_niyama_porosity_is_monotone_and_within_the_shrinkage(star: float, growth: float) -> None:
    high, low = niyama_shrinkage([star, star * growth], 5.27)
    assert 0 < low <= high <= 5.27 + 1e-9


def test_niyama_porosity_beyond_the_last_eutectic_stays_small() -> None:
    assert np.all(niyama_shrinkage([107.0, 500.0, 1e4]) < 0.195)
    assert np.isnan(niyama_shrinkage(np.nan))


@given(gradient=st.floats(0.01, 10.0), rate=st.floats(0.1, 20.0), time_s=st.floats(1.0, 300.0))
def test_criteria_from_a_time_field_equal_those_from_gradients(gradient: float, rate: float, time_s: float) -> None:
    time_gradient = gradient / rate
    assert niyama_from_times(rate, time_gradient) == pytest.approx(niyama(gradient, rate), rel=1e-12)
    speed = 1.0 / time_gradient
    identity = rate * time_s ** (2 / 3) * time_gradient**2
    assert lcc(gradient, time_s, speed) == pytest.approx(identity, rel=1e-9)


@given(value=st.floats(0.01, 2.0), sdas=st.floats(10.0, 80.0), factor=st.floats(1.1, 4.0))
def test_dimensionless_niyama_scales_as_its_formula(value: float, sdas: float, factor: float) -> None:
    base = float(dimensionless_niyama(value, sdas))
    assert dimensionless_niyama(value, sdas, factor) == pytest.approx(base * np.sqrt(factor), rel=1e-12)
    assert dimensionless_niyama(value, sdas * factor) == pytest.approx(base * factor, rel=1e-12)
    assert dimensionless_niyama(value, sdas, viscosity_pa_s=0.0013 * factor**2) == pytest.approx(
        base / factor, rel=1e-9
    )


def test_niyama_rank_keeps_unknown_apart_from_good() -> None:
    np.testing.assert_array_equal(niyama_rank([np.nan, 0.1, 0.2, 0.4]), [np.nan, 2, 1, 0])


@given(choke=st.floats(1.0, 200.0), zone=st.floats(1.0, 200.0))
def test_open_share_is_full_exactly_when_the_choke_lasts(choke: float, zone: float) -> None:
    margin = feeding_margin(choke, zone)
    share = float(open_share(margin))
    assert 0 < share <= 1
    assert (share == 1) == (choke >= zone)
    assert freezing_order_reserve(margin) >= freezing_order_reserve(margin, True)


def test_the_freezing_order_asks_more_of_the_gate() -> None:
    assert GATE_MARGIN > STEP_MARGIN > 1
    assert freezing_order_reserve(1.2) > 1 > freezing_order_reserve(1.2, True)


def test_a_modulus_rule_made_for_sand_leaves_little_in_a_die() -> None:
    assert freezing_time_ratio(1.2, 2.0) > GATE_MARGIN + 0.15
    assert freezing_time_ratio(1.2, 1.25) == pytest.approx(GATE_MARGIN, abs=0.01)


@given(bar=walls, stem=walls, fillet=st.floats(0.0, 15.0))
def test_t_junction_circle_touches_the_back_of_the_bar_and_both_fillets(bar: float, stem: float, fillet: float) -> None:
    diameter = float(t_junction_circle(bar, stem, fillet))
    assert diameter >= max(bar, stem) - 1e-9
    if stem <= 2 * (bar + fillet):
        depth = bar - 0.5 * diameter
        to_fillet = np.hypot(0.5 * stem + fillet, depth + fillet)
        assert to_fillet == pytest.approx(0.5 * diameter + fillet, rel=1e-9)


@given(a=walls, b=walls, fillet=st.floats(0.0, 15.0), more=st.floats(0.1, 10.0))
def test_junction_circles_grow_with_walls_and_fillets(a: float, b: float, fillet: float, more: float) -> None:
    for circle in (t_junction_circle, x_junction_circle):
        base = circle(a, b, fillet)
        assert circle(a, b + more, fillet) > base
        assert circle(a, b, fillet + more) > base * (1 - 1e-12) or circle is t_junction_circle
    assert x_junction_circle(a, b, fillet) == pytest.approx(float(x_junction_circle(b, a, fillet)), rel=1e-12)


@given(far=walls, near=walls)
def test_circle_steps_count_growth_toward_the_feeder(far: float, near: float) -> None:
    steps = float(inscribed_circle_steps(near, far))
    assert far * 1.1**steps == pytest.approx(near, rel=1e-9)
    assert (steps > 0) == (near > far)


@given(silicon=st.floats(0.0, 11.0), more=st.floats(0.1, 1.0), cutoff=st.floats(0.5, 0.9))
def test_silicon_and_late_cut_off_lower_the_shrinkage_left(silicon: float, more: float, cutoff: float) -> None:
    shrinkage = solidification_shrinkage(silicon)
    assert solidification_shrinkage(silicon + more) < shrinkage
    assert isolated_pool_shrinkage(shrinkage, cutoff + 0.05) < isolated_pool_shrinkage(shrinkage, cutoff)

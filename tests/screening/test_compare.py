"""A against B: nothing where there is nothing, exactly antisymmetric, and the right side where there is a side."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from castq.core.errors import InputError
from castq.screening.compare import RESOLUTION, compare, probability_b_better
from castq.screening.screen import screen
from tests.screening.cases import melt, wheel


@pytest.mark.parametrize("block", range(4))
def test_a_against_a_is_no_difference_for_a_thousand_seeds(block: int) -> None:
    for seed in range(250 * block, 250 * (block + 1)):
        result = compare(screen(wheel(), draws=16, seed=seed), screen(wheel(name="copy"), draws=16, seed=seed))
        assert result.verdict == "no difference"
        assert all(d.verdict == "no difference" and d.difference == 0.0 for d in result.differences)


@settings(max_examples=20, deadline=None)
@given(
    spokes=st.tuples(st.floats(8, 32), st.floats(8, 32)),
    junctions=st.tuples(st.floats(12, 40), st.floats(12, 40)),
    seed=st.integers(0, 2**31),
)
def test_swapping_a_and_b_swaps_everything(spokes, junctions, seed) -> None:
    a, b = (screen(wheel(spoke=s, junction=j), draws=32, seed=seed) for s, j in zip(spokes, junctions, strict=True))
    forth, back = compare(a, b), compare(b, a)
    opposite = {"A better": "B better", "B better": "A better", "no difference": "no difference", "mixed": "mixed"}
    assert back.verdict == opposite[forth.verdict]
    assert len(forth.differences) == len(back.differences) > 20
    for one, other in zip(forth.differences, back.differences, strict=True):
        assert other.difference == -one.difference
        assert (other.p10, other.p90) == (-one.p90, -one.p10)
        assert other.probability_b_better == pytest.approx(1.0 - one.probability_b_better, abs=1e-15)
        assert other.verdict == opposite[one.verdict]


@given(
    values=st.lists(st.tuples(st.floats(0.0, 1e3), st.floats(0.0, 1e3)), min_size=1, max_size=30),
    quantity=st.sampled_from(sorted(RESOLUTION)),
)
def test_the_probability_is_antisymmetric_and_bounded(values, quantity) -> None:
    a, b = np.array(values).T
    forth = probability_b_better(a, b, quantity, "higher")
    assert 0.0 <= forth <= 1.0
    assert forth + probability_b_better(b, a, quantity, "higher") == pytest.approx(1.0, abs=1e-12)
    assert forth + probability_b_better(a, b, quantity, "lower") == pytest.approx(1.0, abs=1e-12)
    assert probability_b_better(a, a, quantity, "higher") == 0.5


def test_the_redesign_that_lets_the_spoke_feed_is_better_and_in_the_right_zone() -> None:
    starved, fed = screen(wheel(spoke=13.0, junction=24.0)), screen(wheel(spoke=27.0, junction=18.0))
    result = compare(starved, fed)
    found = {(d.role, d.quantity): d for d in result.differences}
    junction = found["spoke-rim junction", "porosity_pct"]
    assert junction.verdict == "B better"
    assert junction.probability_b_better > 0.95
    assert junction.difference < -0.5
    assert found["hub", "porosity_pct"].verdict == "no difference"


def test_different_draws_or_nothing_in_common_are_refused() -> None:
    with pytest.raises(InputError, match="different draws"):
        compare(screen(wheel(), draws=16, seed=1), screen(wheel(), draws=16, seed=2))


def test_a_different_process_is_pointed_out() -> None:
    result = compare(screen(wheel(), draws=16), screen(wheel(melt=melt(hydrogen_ml_100g=0.2)), draws=16))
    assert any("melt differs" in warning for warning in result.warnings)


def test_roles_on_one_side_only_are_named() -> None:
    whole = wheel()
    part = wheel(sections=whole.sections[:-1])
    result = compare(screen(whole, draws=16), screen(part, draws=16))
    assert result.only_in_a == ("outboard flange",)
    assert result.only_in_b == ()

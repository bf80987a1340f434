"""castq's march and general-purpose libraries solve the same casting corner and find the same."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from castq.thermal.solid_problem import Pace
from tests.thermal.corner import DIE_C, MELT_C, SOLIDUS_C, Corner, Run, off, solve_castq, solve_explicit, solve_rk23
from tests.thermal.corner_peers import solve_fipy, solve_skfem_faces

# FiPy still asks numpy for a module by its old name.
pytestmark = pytest.mark.filterwarnings("ignore:numpy.core is deprecated:DeprecationWarning")
CORNER = Corner(12)


@pytest.fixture(scope="module")
def castq() -> Run:
    return solve_castq(CORNER)


@pytest.mark.parametrize("peer", [solve_fipy, solve_skfem_faces], ids=["FiPy", "scikit-fem"])
def test_castq_agrees_with_a_general_purpose_library(castq: Run, peer: Callable[[Corner, float], Run]) -> None:
    rms_k, worst_k, late = off(castq, peer(CORNER, 0.5))
    assert rms_k < 0.5 and worst_k < 1.0
    assert late < 0.015


def test_castq_agrees_with_scipys_integrator(castq: Run) -> None:
    rms_k, worst_k, late = off(castq, solve_rk23(CORNER))
    assert rms_k < 0.15 and worst_k < 0.5 and late < 0.01


def test_the_problem_is_one_that_can_tell(castq: Run) -> None:
    """Part of the casting has frozen and part has not, none of it is as it was, and no heat is lost from sight."""
    frozen = np.isfinite(castq.frozen_s)
    assert 3 < frozen.sum() < frozen.size and np.array_equal(frozen, castq.casting_c < SOLIDUS_C)
    assert DIE_C + 100.0 < castq.casting_c.min() and castq.casting_c.max() < MELT_C - 50.0
    assert abs(castq.residual) < 1e-6


def test_shortest_steps_of_castq_are_those_of_the_plain_reference() -> None:
    rms_k, worst_k, late = off(solve_castq(CORNER, Pace(explicit=True, single=False)), solve_explicit(CORNER))
    assert worst_k < 0.02 and rms_k < 0.01 and late < 0.001

"""Hardness lines: inverses, order, and how well they meet the minima they stand for."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from castq.physics import hardness

Line = Callable[[NDArray[np.float64]], NDArray[np.float64]]

# EN 1706 alloys 42000, 42100 and 42200, T6 and T64: hardness [HB], yield [MPa], tensile [MPa] minima.
MINIMA_T6 = np.array(
    [[90, 220, 260], [80, 200, 240], [75, 180, 220], [90, 210, 290], [75, 190, 230], [100, 240, 320], [85, 210, 250]]
)


@pytest.mark.parametrize(
    ("there", "back"),
    [
        (hardness.yield_from_hardness, hardness.hardness_from_yield),
        (hardness.yield_from_hardness_t6, hardness.hardness_from_yield_t6),
    ],
)
def test_inverse_gives_the_hardness_back(there: Line, back: Line) -> None:
    values = np.linspace(50.0, 110.0, 13)
    np.testing.assert_allclose(back(there(values)), values)


def test_t6_lines_meet_the_minima_within_their_bands() -> None:
    ys_error = hardness.yield_from_hardness_t6(MINIMA_T6[:, 0]) - MINIMA_T6[:, 1]
    uts_error = hardness.tensile_from_hardness_t6(MINIMA_T6[:, 0]) - MINIMA_T6[:, 2]
    assert np.sqrt(np.mean(ys_error**2)) < 6.0
    assert np.sqrt(np.mean(uts_error**2)) < 13.0


def test_tensile_lies_above_yield_over_the_range() -> None:
    hb = np.linspace(50.0, 105.0, 12)
    assert np.all(hardness.tensile_from_hardness(hb) > hardness.yield_from_hardness(hb))
    assert np.all(hardness.tensile_from_hardness_t6(hb[6:]) > hardness.yield_from_hardness_t6(hb[6:]))


def test_vickers_and_brinell_lines_agree_in_t6() -> None:
    # HV is 1.1 to 1.2 times HB for these alloys: the two routes meet within their bands.
    assert hardness.yield_from_vickers(1.1 * 90.0) == pytest.approx(hardness.yield_from_hardness_t6(90.0), abs=40.0)

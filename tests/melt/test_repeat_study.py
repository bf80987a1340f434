"""Repeated pairs: the share of the test comes out as it was put in."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from castq.core.errors import InputError
from castq.melt.repeat_study import study_repeats


def pairs(melts: float, own: float, operators: float = 0.0, seed: int = 1) -> pd.DataFrame:
    """Return three density indices of each of 4 x 60 invented melts, with lognormal scatter of the sizes given."""
    rng = np.random.default_rng(seed)
    group, melt = np.repeat(np.arange(4), 180), np.repeat(np.arange(240), 3)
    z = (
        melts * rng.normal(size=240)[melt]
        + own * rng.normal(size=720)
        + operators * np.array([-1, 0.2, 1, -0.2])[group]
    )
    return pd.DataFrame({"operator": group, "furnace": group, "melt": melt, "density_index_pct": 5.0 * np.exp(z)})


def test_share_of_the_test_is_the_one_simulated() -> None:
    got = study_repeats(pairs(0.3, 0.2))
    low, high = got.study.repeat_share_pct[1:]
    # 0.04 / (0.04 + 0.09) = 31 %.
    assert low < 30.8 < high and high - low < 14
    assert (
        got.words[0]
        == f"the test itself carries {got.study.component('gauge').share_pct:.0f} % of the spread (variance)"
    )
    assert got.one_sigma == pytest.approx(5.0 * 0.2, rel=0.12)
    assert "percentage points" in got.words[2]


def test_operators_count_as_part_of_the_test_and_furnaces_do_not() -> None:
    frame = pairs(0.3, 0.2, operators=0.3)
    by_operator, by_furnace = study_repeats(frame, by="operator"), study_repeats(frame, by="furnace")
    assert by_operator.study.component("operator").share_pct == pytest.approx(
        by_furnace.study.component("furnace").share_pct
    )
    assert by_operator.study.component("gauge").share_pct > by_furnace.study.component("gauge").share_pct + 10


def test_pairs_wanted_bring_the_share_down_to_a_fifth() -> None:
    # 0.04 / n / (0.04 / n + 0.1225) is 25 and 14 % for one and two pairs.
    assert study_repeats(pairs(0.35, 0.2)).pairs_wanted == 2
    assert study_repeats(pairs(0.5, 0.1)).pairs_wanted == 1
    blind = study_repeats(pairs(0.0, 0.3))
    assert blind.pairs_wanted is None and "hardly tells melts apart" in blind.words[-1]


def test_missing_column_and_lacking_repeats_are_refused() -> None:
    frame = pairs(0.3, 0.2)
    with pytest.raises(InputError, match="repeated pairs, melt: no such column"):
        study_repeats(frame.drop(columns="melt"))
    with pytest.raises(InputError, match="take pairs"):
        study_repeats(frame.drop_duplicates("melt"))

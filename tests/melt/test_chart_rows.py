"""From samples with their pairs and readings to rows for charts and studies."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from castq.core.errors import InputError
from castq.melt.chart_rows import chart_rows, pair_rows
from castq.melt.charting import chart_samples
from tests.melt.chart_frames import simulated

# Test pairs of AlSi9Cu3(Fe) before and after degassing: handbook 11.44 and 0.81 %.
BEFORE = {"in_air_g_cm3": 2.693, "in_vacuum_g_cm3": 2.385, "test_pressure_mbar": 80.0}
AFTER = {"in_air_g_cm3": 2.709, "in_vacuum_g_cm3": 2.687, "test_pressure_mbar": 80.0}


def samples(pairs: list[object], readings: list[object]) -> pd.DataFrame:
    at = pd.date_range("2026-11-02T06:00", periods=len(pairs), freq="4h", tz="UTC")
    return pd.DataFrame({"sequence": np.arange(1, len(pairs) + 1), "at": at, "furnace": "2", "sampled_by": "op 1",
                         "pairs": pairs, "readings": readings})  # fmt: skip


def test_means_of_pairs_and_readings_are_those_of_each_sample() -> None:
    reading = [{"hydrogen_ml_100g": 0.10}, {"hydrogen_ml_100g": 0.14, "alloy_factor": 0.7}]
    got = chart_rows(samples([[BEFORE, AFTER], [], [AFTER], None], [[], reading, None, []]))
    np.testing.assert_allclose(got["density_index_pct"], [(11.4371 + 0.8121) / 2, np.nan, 0.8121, np.nan], atol=1e-4)
    np.testing.assert_allclose(got["hydrogen_ml_100g"], [np.nan, 0.12, np.nan, np.nan])


def test_pairs_of_one_sample_at_two_pressures_give_no_density_index() -> None:
    got = chart_rows(samples([[AFTER, AFTER | {"test_pressure_mbar": 30.0}], [AFTER]], [None, None]))
    assert np.isnan(got["density_index_pct"][0]) and got["test_pressure_mbar"][1] == 80.0


def test_density_indices_of_another_pressure_are_left_out_of_the_chart_and_said() -> None:
    frame = simulated(1, 30, 10)
    frame["test_pressure_mbar"] = np.where(np.arange(40) < 6, 30.0, 80.0)
    book = chart_samples(frame, by="furnace")
    assert len(book.groups[0].values) == 34
    assert book.notes == ("not charted: 6 density indices at another pressure than 80 mbar",)


def test_times_in_utc_with_an_offset_column_are_told_on_the_plants_clock() -> None:
    frame = simulated(1, 60, 12, seed=4)
    frame.loc[60:, "density_index_pct"] += 1.6
    local = chart_samples(frame, by="furnace").groups[0]
    frame["at"] = frame["at"].dt.tz_convert("UTC")
    assert "Thursday 05:00" in chart_samples(frame, by="furnace").groups[0].words
    assert chart_samples(frame.assign(at_offset_s=3600), by="furnace").groups[0].words == local.words


def test_each_pair_becomes_a_row_of_its_melt_and_operator() -> None:
    got = pair_rows(samples([[BEFORE, AFTER], [], [AFTER]], [None] * 3))
    assert got["melt"].tolist() == [1, 1, 3]
    assert set(got["operator"]) == {"op 1"}
    np.testing.assert_allclose(got["density_index_pct"], [11.4371, 0.8121, 0.8121], atol=1e-4)


@pytest.mark.parametrize("pair", [{"in_air_g_cm3": 2.7}, {**AFTER, "in_air_g_cm3": "heavy"}, 3.0])
def test_damaged_pair_is_refused(pair: object) -> None:
    with pytest.raises(InputError, match="correct the row"):
        chart_rows(samples([[pair]], [None]))

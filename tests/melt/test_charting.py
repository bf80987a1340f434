"""Charts of the melt desk: what they say, how often they are wrong, how soon they are right, and how fast they are."""

from __future__ import annotations

import time
from datetime import datetime, timedelta, timezone

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from castq.core.errors import InputError
from castq.melt.chart_types import QUANTITIES, ChartRules
from castq.melt.charting import chart_samples
from castq.melt.sample_times import shifts_of, time_words
from tests.melt.chart_frames import simulated

QUICK = settings(derandomize=True, deadline=None, max_examples=40)
DENSITY = "density_index_pct"


def test_few_steady_furnace_weeks_are_called_anything_else() -> None:
    # 2,000 furnaces, 50 samples before and a week of 42: 4 % expected, stated as at most 5 %.
    groups = chart_samples(simulated(2000, 50, 42), by="furnace").groups
    wrong = np.mean([g.state != "steady" for g in groups])
    assert len(groups) == 2000
    assert wrong <= 0.05
    # A test that no chart can fail would be worth nothing: some false signals must come.
    assert wrong >= 0.01


def test_resemblance_between_neighbours_raises_false_signals_only_a_little() -> None:
    frame, rng = simulated(500, 50, 42), np.random.default_rng(2)
    z = rng.normal(size=(500, 92))
    for i in range(1, 92):
        z[:, i] = 0.4 * z[:, i - 1] + np.sqrt(1 - 0.4**2) * z[:, i]
    groups = chart_samples(frame.assign(density_index_pct=1.2 * np.exp(0.25 * z).ravel()), by="furnace").groups
    # 37 % without the allowance that the baseline makes; stated as at most 15 %.
    assert 0.01 <= np.mean([g.state != "steady" for g in groups]) <= 0.15


def test_a_shift_of_one_and_a_half_sigma_is_found_soon_and_dated_well() -> None:
    groups = chart_samples(simulated(500, 50, 60, shift=1.5, seed=2), by="furnace").groups
    delays, starts = [], []
    for g in groups:
        risen = [d for d in g.departures if d.kind == "drifted up" and d.found >= 50]
        delays.append(risen[0].found - 49 if risen else 99)
        starts.append(risen[0].first - 50 if risen else 99)
    # Stated: half of them within 9 samples, nine in ten within 20; begin named to within 2 samples in most.
    assert np.median(delays) <= 9
    assert np.quantile(delays, 0.9) <= 20
    assert abs(np.median(starts)) <= 1
    assert np.mean(np.abs(starts) <= 2) > 0.55


def test_words_of_a_drift_name_furnace_begin_and_both_levels() -> None:
    frame = simulated(1, 60, 12, shift=0.0, seed=4)
    frame.loc[60:, DENSITY] += 1.6
    frame["furnace"] = "2"
    chart = chart_samples(frame, by="furnace").of(DENSITY, "2")
    # Sample 61 is taken 240 h after Monday 2 November 06:00.
    assert chart.state == "drifted up"
    assert chart.words.startswith("furnace 2: density index has drifted up since Thursday 06:00 (about 2.")
    assert "was 1.2 %" in chart.words


def test_one_bad_sample_is_not_called_a_drift() -> None:
    frame = simulated(1, 60, 12, seed=4)
    frame.loc[66, DENSITY] = 9.0
    chart = chart_samples(frame, by="furnace").groups[0]
    assert chart.state == "far above"
    assert chart.words == "furnace 0000: one density index sample far above the rest (9.0 %, Friday 06:00)"
    assert np.flatnonzero(chart.beyond).tolist() == [66]


def test_a_drift_that_is_over_is_told_as_over_and_forgotten_later() -> None:
    frame = simulated(1, 60, 40, seed=4)
    frame.loc[62:72, DENSITY] += 1.6
    chart = chart_samples(frame, by="furnace").groups[0]
    assert chart.state == "back" and "and is back" in chart.words
    forgotten = chart_samples(frame, ChartRules(recent_days=2.0), by="furnace").groups[0]
    assert forgotten.state == "steady"
    assert len(forgotten.departures) == len(chart.departures)


def test_too_few_samples_are_counted() -> None:
    chart = chart_samples(simulated(1, 4, 5), by="furnace").groups[0]
    assert chart.words == "furnace 0000: density index, too few samples: 9 of 12"
    assert chart.baseline is None and np.isnan(chart.upper)


def test_equal_values_are_not_charted() -> None:
    frame = simulated(1, 10, 10).assign(density_index_pct=1.0)
    assert "note more decimals" in chart_samples(frame, by="furnace").groups[0].words


def test_a_furnace_without_recent_samples_says_since_when() -> None:
    frame = simulated(2, 40, 20)
    frame.loc[frame.index[:60], "at"] -= pd.Timedelta(days=20)
    assert chart_samples(frame, by="furnace").of(DENSITY, "0000").state == "no recent sample"


def test_shifts_are_charted_apart_and_named() -> None:
    book = chart_samples(simulated(2, 40, 50))
    assert {(g.furnace, g.shift) for g in book.groups if g.shift} == {
        (f, s) for f in ("0000", "0001") for s in ("early shift", "late shift", "night shift")
    }
    assert sum(len(g.values) for g in book.groups if g.shift) == 180
    assert book.of(DENSITY, "0001", "late shift").words.startswith("furnace 0001, late shift: ")


def test_shift_is_that_of_the_clock_on_the_wall_and_runs_past_midnight() -> None:
    local = np.array(["2026-11-02T05:59", "2026-11-02T06:00", "2026-11-02T14:00", "2026-11-02T23:30"], "datetime64[us]")
    assert shifts_of(local).tolist() == ["night shift", "early shift", "late shift", "night shift"]
    assert shifts_of(local, {"A": "00:00", "B": "12:00"}).tolist() == ["A", "A", "B", "B"]


def test_times_keep_the_offset_they_were_written_with() -> None:
    frame = simulated(1, 60, 12, seed=4)
    frame.loc[60:, DENSITY] += 1.6
    kinds = {
        "zoned column": frame["at"],
        "datetimes": [t.to_pydatetime() for t in frame["at"]],
        "text": [t.isoformat() for t in frame["at"]],
    }
    words = {chart_samples(frame.assign(at=at), by="furnace").groups[0].words for at in kinds.values()}
    assert len(words) == 1
    india = [t.to_pydatetime().astimezone(timezone(timedelta(hours=5, minutes=30))) for t in frame["at"]]
    assert "since Thursday 10:30" in chart_samples(frame.assign(at=india), by="furnace").groups[0].words


def test_a_clock_set_back_does_not_disturb_the_order() -> None:
    frame = simulated(1, 60, 12, hours=0.5, seed=4)
    frame["at"] = frame["at"] - (
        frame["at"].iloc[30] - pd.Timestamp("2026-10-25T02:50+02:00").tz_convert("Europe/Berlin")
    )
    chart = chart_samples(frame, by="furnace").groups[0]
    assert np.all(np.diff(chart.utc) > np.timedelta64(0)) and np.any(np.diff(chart.local) < np.timedelta64(0))
    assert chart.sequence.tolist() == frame["sequence"].tolist()


def test_late_entries_are_charted_when_taken_and_noted() -> None:
    frame = simulated(1, 60, 12)
    swapped = frame.copy()
    swapped.loc[[10, 11], "sequence"] = swapped.loc[[11, 10], "sequence"].to_numpy()
    book = chart_samples(swapped.sample(frac=1.0, random_state=1), by="furnace")
    np.testing.assert_array_equal(book.groups[0].values, frame[DENSITY])
    assert book.notes == ("logged out of order, charted by the time taken: 1",)


def test_only_samples_after_treatment_are_charted() -> None:
    frame = simulated(1, 60, 12)
    frame["after"] = np.where(np.arange(72) % 3 == 0, "before treatment", "after treatment")
    book = chart_samples(frame, by="furnace")
    assert len(book.groups[0].values) == 48
    assert book.notes == ("not charted: 24 taken before treatment or in holding",)


def test_neighbours_that_resemble_each_other_are_noted_and_widen_the_limits() -> None:
    rng = np.random.default_rng(3)
    walk = np.zeros(80)
    for i in range(1, 80):
        walk[i] = 0.8 * walk[i - 1] + 0.15 * rng.normal()
    chart = chart_samples(simulated(1, 40, 40).assign(density_index_pct=1.2 * np.exp(walk)), by="furnace").groups[0]
    assert chart.baseline is not None and chart.baseline.alike
    assert "each sample resembles the one before" in chart.baseline.words


def test_a_far_sample_in_the_baseline_is_left_out_and_said() -> None:
    frame = simulated(1, 60, 12, seed=4)
    clean = chart_samples(frame, by="furnace").groups[0]
    frame.loc[5, DENSITY] = 14.0
    chart = chart_samples(frame, by="furnace").groups[0]
    assert chart.baseline is not None and chart.baseline.left_out == 1
    assert "1 of them left out" in chart.baseline.words
    assert chart.upper == pytest.approx(clean.upper, rel=0.1)


def test_capability_is_stated_or_the_reason_why_not() -> None:
    rules = ChartRules(upper_limits={DENSITY: 3.0})
    steady = chart_samples(simulated(1, 50, 60, seed=6), rules, by="furnace").groups[0]
    assert steady.capability is not None and steady.capability.stated
    # Level 1.2 with 25 % scatter: ln(3 / 1.2) / (3 * 0.25) = 1.22, a little less for the weighing error.
    assert steady.capability.cpk_low < 1.2 < steady.capability.cpk_high
    few = chart_samples(simulated(1, 10, 10), rules, by="furnace").groups[0]
    assert few.capability_words.endswith("is not stated: fewer than 30 points (n = 20)")
    drifted = chart_samples(simulated(1, 50, 60, shift=3.0), rules, by="furnace").groups[0]
    assert drifted.capability_words.endswith("is not stated: the chart is not in control")


@pytest.mark.parametrize("quantity", QUANTITIES, ids=lambda q: q.name)
def test_on_the_even_scale_the_scatter_is_even(quantity) -> None:
    constant, share = {"density_index_pct": (0.15, 0.25), "hydrogen_ml_100g": (0.01, 0.07)}[quantity.name]
    level = np.array([[0.5], [2.0], [8.0]]) * quantity.bend
    noise = np.random.default_rng(1).normal(size=(3, 40_000))
    # A tenth of the scatter: the scale evens it to first order, and by 10 % at its full size.
    spread = quantity.even(level + 0.1 * np.hypot(constant, share * level) * noise).std(axis=1)
    np.testing.assert_allclose(spread, 0.1 * share, rtol=0.01)
    np.testing.assert_allclose(quantity.back(quantity.even(level)), level)


@QUICK
@given(st.floats(0.5, 3.0), st.integers(0, 10_000))
def test_a_higher_level_has_higher_limits_and_they_enclose_the_centre(factor: float, seed: int) -> None:
    low = chart_samples(simulated(1, 50, 10, seed=seed), by="furnace").groups[0]
    high = chart_samples(simulated(1, 50, 10, seed=seed, level=1.2 * (1 + factor)), by="furnace").groups[0]
    assert high.centre > low.centre and high.upper > low.upper
    assert low.lower < low.centre < low.upper


def test_a_hundred_thousand_samples_are_charted_within_a_second() -> None:
    frame = simulated(4, 12_500, 12_500, hours=0.35)
    frame["hydrogen_ml_100g"] = 0.1 + 0.01 * np.random.default_rng(1).normal(size=len(frame))
    chart_samples(frame.head(100))
    begin = time.process_time()
    book = chart_samples(frame)
    spent = time.process_time() - begin
    assert sum(len(g.values) for g in book.groups) == 400_000
    assert spent < 1.0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"at": "2026-11-02T06:00"}, "has no offset"),
        ({"at": "yesterday"}, "'yesterday' is not a time"),
        ({"at": datetime(2026, 11, 2)}, "has no offset"),
        ({"density_index_pct": "1,2"}, "not a number"),
        ({"density_index_pct": np.inf}, "infinite"),
    ],
)
def test_bad_samples_are_refused_in_one_sentence(change, said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        chart_samples(simulated(1, 10, 10).assign(**change))
    assert "\n" not in str(caught.value)


def test_missing_columns_and_bad_shift_tables_are_refused() -> None:
    frame = simulated(1, 10, 10)
    with pytest.raises(InputError, match="no such column"):
        chart_samples(frame.drop(columns="furnace"))
    with pytest.raises(InputError, match="'6 am' is not a time of day"):
        chart_samples(frame, ChartRules(shifts={"early": "6 am"}))
    with pytest.raises(InputError, match="two that are the same"):
        chart_samples(frame, ChartRules(shifts={"early": "06:00", "late": "06:00"}))


def test_empty_frame_gives_no_chart() -> None:
    assert chart_samples(simulated(1, 10, 10).head(0)).groups == ()


def test_time_words_add_the_date_when_the_day_alone_would_mislead() -> None:
    now = np.datetime64("2026-11-25T14:00")
    assert time_words(np.datetime64("2026-11-24T14:10"), now) == "Tuesday 14:10"
    assert time_words(np.datetime64("2026-11-17T14:10"), now) == "Tuesday 17 November 14:10"
    assert time_words(np.datetime64("2025-11-17T14:10"), now) == "Monday 17 November 2025 14:10"

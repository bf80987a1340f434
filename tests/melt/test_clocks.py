"""Until when a held melt stays good: hydrogen, strontium, refiner."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from castq.melt.clocks import good_until, hydrogen_clock
from castq.melt.types import Addition, Treatment
from tests.melt.melts import NOON

STRONTIUM = Addition(NOON, "F1", "strontium", 1.0, 160.0)
REFINER = Addition(NOON, "F1", "refiner", 2.0, 0.1)


def test_worked_holding_time() -> None:
    one = np.full(64, 1.0)
    clock = hydrogen_clock(0.09 * one, np.array(0.12), (0.1716 * one, 0.005 * one), 0.95, NOON, "below 0.12 ml/100 g")
    assert clock.minutes_median == clock.minutes_sure == pytest.approx(60 * 1.528, rel=1e-3)
    assert clock.good_until == NOON + timedelta(minutes=91)
    assert clock.words.startswith("Until 13:31 the melt stays below 0.12 ml/100 g if it is left quiet (95 % sure")


def test_dry_air_never_ends_the_clock() -> None:
    one = np.full(64, 1.0)
    clock = hydrogen_clock(0.09 * one, np.array(0.12), (0.08 * one, 0.005 * one), 0.95, NOON, "low")
    assert clock.good_until is None and np.isinf(clock.minutes_sure)
    assert clock.words == "No end in sight: the melt stays low if it is left quiet."


def test_strontium_halves_in_three_hours_and_in_the_worst_case_in_forty_minutes() -> None:
    clock = good_until([STRONTIUM])[0]
    assert clock.kind == "strontium"
    assert clock.minutes_median == pytest.approx(180.0, rel=0.01)
    assert 36.0 <= clock.minutes_sure <= 45.0
    assert clock.good_until is not None and clock.good_until < NOON + timedelta(minutes=45)


def test_each_treatment_takes_a_tenth_of_the_strontium() -> None:
    treatments = [Treatment("F1", NOON + timedelta(minutes=m), 10.0) for m in (-60, 10, 30)]
    clock = good_until([STRONTIUM], treatments)[0]
    assert clock.minutes_median == pytest.approx(180.0 * np.log2(160.0 * 0.81 / 80.0), rel=0.01)


def test_a_treatment_stirs_the_refiner_up_again() -> None:
    settled = good_until([REFINER])[0]
    stirred = good_until([REFINER], [Treatment("F1", NOON + timedelta(minutes=20), 10.0)])[0]
    assert 28.0 <= settled.minutes_sure <= 32.0
    assert 40.0 <= settled.minutes_median <= 60.0
    assert stirred.starts_at == NOON + timedelta(minutes=30)
    assert stirred.minutes_sure == settled.minutes_sure


def test_the_last_addition_counts_and_others_start_no_clock() -> None:
    later = Addition(NOON + timedelta(hours=1), "F1", "strontium", 1.0, 100.0)
    clocks = good_until([later, STRONTIUM, Addition(NOON, "F1", "magnesium", 1.0, None)])
    assert [(clock.kind, clock.starts_at) for clock in clocks] == [("strontium", later.at)]
    assert good_until([]) == ()

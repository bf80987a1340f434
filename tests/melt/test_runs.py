"""Which samples of a log belong to which treatment, and the fit of each furnace and rotor from them."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from castq.melt.runs import fit_each, runs_of
from castq.melt.types import Sample, Treatment
from castq.physics.degassing import hydrogen_after
from tests.melt.melts import NOON, sample


def at(minute: float, hydrogen: float, furnace: str = "F1", **more: object) -> Sample:
    return sample(readings=(hydrogen,), taken_at=NOON + timedelta(minutes=minute), furnace=furnace, **more)


def treated(minute: float, minutes: float = 12.0, furnace: str = "F1", rotor: str = "R1") -> Treatment:
    return Treatment(furnace, NOON + timedelta(minutes=minute), minutes, rotor)


def test_last_before_all_during_and_first_after_are_taken() -> None:
    samples = [at(-30, 0.31), at(-2, 0.30), at(6, 0.15), at(15, 0.10), at(18, 0.11), at(-5, 0.4, "F2")]
    run = runs_of(samples, [treated(0)])["F1", "R1"][0]
    assert run.minutes == (0.0, 6.0, 12.0)
    assert run.hydrogen_ml_100g == pytest.approx((0.30, 0.15, 0.10), rel=1e-3)
    assert run.name == "F1 2026-07-01 12:00"


def test_far_samples_and_those_without_a_reading_do_not_count() -> None:
    assert runs_of([at(-90, 0.3), at(14, 0.1)], [treated(0)]) == {}
    assert runs_of([at(-5, 0.3), at(60, 0.1)], [treated(0)]) == {}
    assert runs_of([at(-5, 0.3), sample((2.0,), taken_at=NOON + timedelta(minutes=14))], [treated(0)]) == {}


def test_a_sample_between_two_treatments_ends_one_and_starts_the_other() -> None:
    runs = runs_of([at(-2, 0.3), at(13, 0.15), at(28, 0.09)], [treated(0), treated(15)])["F1", "R1"]
    assert [run.hydrogen_ml_100g for run in runs] == [
        pytest.approx((0.3, 0.15), rel=1e-3),
        pytest.approx((0.15, 0.09), rel=1e-3),
    ]


def test_readings_of_one_sample_are_averaged_and_count_for_more() -> None:
    twice = sample(readings=(0.29, 0.31), taken_at=NOON - timedelta(minutes=2))
    run = runs_of([twice, at(14, 0.1)], [treated(0)])["F1", "R1"][0]
    assert run.hydrogen_ml_100g[0] == pytest.approx(0.30, rel=1e-3)
    assert run.one_sigma_ml_100g is not None
    assert run.one_sigma_ml_100g[0] == pytest.approx(np.hypot(0.01, 0.07 * 0.3) / np.sqrt(2.0), rel=0.01)


def test_each_furnace_and_rotor_learns_its_own_rate() -> None:
    rates = {("F1", "R1"): 0.12, ("F1", "R2"): 0.30, ("F2", "R1"): 0.20}
    samples, treatments = [], []
    for number, ((furnace, rotor), rate) in enumerate(rates.items()):
        for day in range(8):
            start = 1440.0 * day + 200.0 * number
            truth = hydrogen_after(0.3, 0.07, rate, np.array([0.0, 6.0, 20.0]))
            samples += [at(start + m, float(h), furnace) for m, h in zip((0.0, 6.0, 20.0), truth, strict=True)]
            treatments.append(treated(start, 20.0, furnace, rotor))
    results = fit_each(runs_of(samples, treatments))
    assert set(results) == set(rates)
    for key, rate in rates.items():
        kinetics = results[key].kinetics
        assert kinetics.rate_per_min == pytest.approx(rate, rel=0.12)
        assert (kinetics.furnace, kinetics.rotor, kinetics.points) == (*key, 24)
    assert results["F1", "R2"].kinetics.name == "F1 R2"

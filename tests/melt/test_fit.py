"""Learning rate and floor: the truth is found, spreads shrink with data, and poor data are said to be poor."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from castq.core.errors import InputError
from castq.melt.fit import Run, fit_kinetics
from castq.physics.degassing import hydrogen_after


def runs(
    count: int,
    minutes: tuple[float, ...],
    rate: float = 0.25,
    floor: float = 0.08,
    spread: float = 0.0,
    noise: float = 0.003,
) -> list[Run]:
    """Return treatments of a furnace of known rate and floor."""
    rng = np.random.default_rng(7)
    made = []
    for i in range(count):
        truth = hydrogen_after(
            rng.uniform(0.2, 0.4), floor, rate * np.exp(spread * rng.standard_normal()), np.array(minutes)
        )
        measured = truth + noise * rng.standard_normal(truth.size)
        made.append(Run(f"treatment {i + 1}", minutes, tuple(measured), (noise,) * len(minutes)))
    return made


def test_rich_data_give_back_rate_and_floor() -> None:
    result = fit_kinetics(runs(8, (0.0, 4.0, 8.0, 16.0, 30.0)), name="F1 spring")
    kinetics = result.kinetics
    assert kinetics.rate_per_min == pytest.approx(0.25, rel=0.06)
    assert kinetics.floor_ml_100g == pytest.approx(0.08, abs=0.003)
    assert kinetics.floor_sigma_ml_100g < 0.003
    assert (kinetics.name, kinetics.points, result.identified) == ("F1 spring", 40, True)
    assert len(result.residuals) == 40
    assert max(abs(residual.standardised) for residual in result.residuals) < 4.0


def test_rich_data_give_the_answer_of_plain_least_squares() -> None:
    one = runs(1, (0.0, 2.0, 4.0, 7.0, 10.0, 15.0, 20.0, 30.0, 45.0), noise=0.001)[0]
    times, hydrogen = np.array(one.minutes), np.array(one.hydrogen_ml_100g)
    plain = least_squares(lambda p: p[1] + (p[2] - p[1]) * np.exp(-np.exp(p[0]) * times) - hydrogen, [-1.5, 0.07, 0.3])
    result = fit_kinetics([one])
    assert result.kinetics.floor_ml_100g == pytest.approx(plain.x[1], abs=0.001)
    # One treatment does not tell the typical rate better than treatments differ.
    assert result.kinetics.rate_per_min == pytest.approx(np.exp(plain.x[0]), rel=0.12)
    assert result.typical_log_sigma > 0.1


def test_the_spread_between_treatments_is_learnt() -> None:
    calm = fit_kinetics(runs(15, (0.0, 4.0, 8.0, 20.0), spread=0.0, noise=0.002)).kinetics
    wild = fit_kinetics(runs(15, (0.0, 4.0, 8.0, 20.0), spread=0.4, noise=0.002)).kinetics
    assert calm.treatment_log_sigma < 0.12 < 0.25 < wild.treatment_log_sigma
    assert wild.rate_log_sigma > calm.rate_log_sigma


def test_more_treatments_narrow_the_typical_rate() -> None:
    sigmas = [fit_kinetics(runs(count, (0.0, 6.0, 15.0), spread=0.15)).typical_log_sigma for count in (1, 4, 16)]
    assert sigmas[0] > sigmas[1] > sigmas[2]


def test_before_and_after_at_one_time_cannot_tell_rate_and_floor_apart() -> None:
    poor = fit_kinetics(runs(6, (0.0, 8.0), noise=0.02))
    assert not poor.identified
    assert any("cannot tell rate and floor apart" in words for words in poor.warnings)
    assert poor.condition > 1.0
    rich = fit_kinetics(runs(8, (0.0, 4.0, 8.0, 16.0, 30.0)))
    assert not any("apart" in words for words in rich.warnings)


def test_two_points_leave_the_floor_to_the_air() -> None:
    dry, humid = (fit_kinetics(runs(1, (0.0, 8.0)), level) for level in (0.08, 0.18))
    assert any("Fewer than three points" in words for words in dry.warnings)
    assert dry.kinetics.floor_ml_100g == pytest.approx(0.06, abs=0.012)
    assert humid.kinetics.floor_ml_100g > dry.kinetics.floor_ml_100g + 0.02


def test_readings_too_poor_to_say_anything_are_said_to_be() -> None:
    blind = fit_kinetics([Run("T1", (0.0, 5.0, 10.0), (0.3, 0.2, 0.15), (0.5, 0.5, 0.5))])
    assert any("next to nothing about the rate" in words for words in blind.warnings)
    assert blind.kinetics.floor_sigma_ml_100g == pytest.approx(0.015, rel=0.05)
    assert not any("next to nothing" in words for words in fit_kinetics(runs(3, (0.0, 6.0, 15.0))).warnings)


def test_a_wild_reading_is_pointed_at() -> None:
    rows = runs(6, (0.0, 4.0, 8.0, 20.0))
    bad = replace(rows[2], hydrogen_ml_100g=(*rows[2].hydrogen_ml_100g[:3], 0.25))
    result = fit_kinetics([*rows[:2], bad, *rows[3:]])
    assert any("treatment 3" in words and "far off" in words for words in result.warnings)


def test_plants_far_from_the_defaults_are_learnt_too() -> None:
    slow = fit_kinetics(runs(8, (0.0, 15.0, 40.0), rate=0.05, spread=0.15)).kinetics
    fast = fit_kinetics(runs(8, (0.0, 3.0, 8.0), rate=0.5, spread=0.15)).kinetics
    assert slow.rate_per_min == pytest.approx(0.05, rel=0.25)
    assert fast.rate_per_min == pytest.approx(0.5, rel=0.25)


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        ([], "there is none"),
        ([Run("T1", (0.0,), (0.2,))], "one time only"),
        ([Run("T1", (0.0, 5.0), (0.2,))], "differ in number"),
        ([Run("T1", (5.0, 0.0), (0.2, 0.1))], "run backwards"),
        ([Run("T1", (0.0, 600.0), (0.2, 0.1))], "are they seconds"),
        ([Run("T1", (-1.0, 5.0), (0.2, 0.1))], "out of range"),
        ([Run("T1", (0.0, 5.0), (0.2, -0.1))], "cannot be"),
        ([Run("T1", (0.0, 5.0), (0.2, float("nan")))], "cannot be"),
        ([Run("T1", (0.0, 5.0), (0.2, 0.1), (0.01, 0.0))], "cannot be"),
    ],
)
def test_treatments_that_cannot_be_used_are_named(bad: list[Run], words: str) -> None:
    with pytest.raises(InputError, match=words):
        fit_kinetics(bad)

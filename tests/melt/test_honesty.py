"""Whether '95 % sure' is enough in 95 of 100 treatments whose truth is known: with the defaults, and after fitting."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from castq.melt import defaults
from castq.melt.engine import Surroundings, judge_rows, melt_draws
from castq.melt.evidence import Evidence
from castq.melt.fit import Run, fit_kinetics
from castq.melt.judge import judge_many
from castq.melt.types import Kinetics, MeltTarget
from castq.physics.degassing import hydrogen_after

Array = NDArray[np.float64]
TREATMENTS = 1000
TARGET = MeltTarget(hydrogen_ml_100g=0.12)
PRIOR = defaults.default_kinetics()
FURNACE_LOG_SIGMA = float(np.sqrt(PRIOR.rate_log_sigma**2 - PRIOR.treatment_log_sigma**2))


class Plants:
    """A thousand plants with a typical rate and a floor drawn from the defaults, and one treatment of each to judge."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.typical = np.log(PRIOR.rate_per_min) + FURNACE_LOG_SIGMA * self.rng.standard_normal(TREATMENTS)
        self.floor = PRIOR.floor_ml_100g + PRIOR.floor_sigma_ml_100g * self.rng.standard_normal(TREATMENTS)
        self.start = self.rng.uniform(0.15, 0.40, TREATMENTS)
        self.rate = self.rates(self.typical)
        self.reading = self.measured(self.start)

    def rates(self, typical: Array) -> Array:
        """Return the rate of one treatment of each plant."""
        return np.exp(typical + PRIOR.treatment_log_sigma * self.rng.standard_normal(typical.shape))

    def measured(self, truth: Array) -> Array:
        """Return readings with the scatter that the desk states for an instrument."""
        return truth + np.hypot(0.01, 0.07 * truth) * self.rng.standard_normal(truth.shape)

    def runs(self, plant: int, count: int, minutes: tuple[float, ...]) -> list[Run]:
        """Return earlier treatments of a plant, as its log would show them."""
        rates = self.rates(np.full(count, self.typical[plant]))
        starts = self.rng.uniform(0.15, 0.40, count)
        truth = hydrogen_after(starts[:, None], self.floor[plant], rates[:, None], np.array(minutes))
        return [Run(str(i), minutes, tuple(np.maximum(row, 0.02))) for i, row in enumerate(self.measured(truth))]

    def enough(self, kinetics: list[Kinetics]) -> NDArray[np.bool_]:
        """Return whether the sure minutes brought each melt to its target, where the desk named any."""
        sure = np.array([self.sure_minutes(i, kinetics[i]) for i in range(TREATMENTS)])
        given = np.isfinite(sure)
        assert given.mean() > 0.98
        end = hydrogen_after(self.start[given], self.floor[given], self.rate[given], sure[given])
        return np.asarray(end <= TARGET.hydrogen_ml_100g + 1e-12)

    def sure_minutes(self, plant: int, kinetics: Kinetics) -> float:
        """Return what the desk says to the reading of a plant."""
        reading = self.reading[plant : plant + 1]
        empty = np.full(1, np.nan)
        scatter = np.hypot(0.01, 0.07 * reading)
        evidence = Evidence(empty, empty, np.zeros(1), empty, reading, scatter, np.ones(1), np.zeros(1))
        around = Surroundings(np.array([0.12]), np.zeros(1))
        return float(judge_rows(evidence, around, TARGET, kinetics, DRAWS).minutes_sure[0])


DRAWS = melt_draws(1, 1024)


def test_sure_minutes_are_enough_with_the_defaults() -> None:
    share = Plants(3).enough([PRIOR] * TREATMENTS).mean()
    assert 0.93 <= share <= 0.97


@pytest.mark.parametrize("pairs", [1, 3])
def test_sure_minutes_are_enough_for_a_density_index_limit(pairs: int) -> None:
    plants, limit = Plants(20 + pairs), 2.5
    truth = plants.rng.uniform(3.0, 15.0, TREATMENTS)
    shown = truth[:, None] * (1.0 + 0.25 * plants.rng.standard_normal((TREATMENTS, pairs)))
    # What an index stands for in each plant: the closure, off by the plant's own factor.
    scale = np.exp(defaults.EQUIVALENT_LOG_SIGMA * plants.rng.standard_normal(TREATMENTS))
    start = 0.05 + scale * (truth / 140.0) ** (1.0 / 1.7)
    spread = shown.std(axis=1, ddof=1) if pairs > 1 else np.full(TREATMENTS, np.nan)
    none, full = np.full(TREATMENTS, np.nan), np.ones(TREATMENTS)
    evidence = Evidence(shown.mean(axis=1), spread, pairs * full, 80.0 * full, none, none, 0.0 * full, none)
    sure = judge_many(evidence, MeltTarget(density_index_pct=limit), PRIOR, draws=1024).minutes_sure
    given = np.isfinite(sure)
    assert given.mean() > 0.98
    end = hydrogen_after(start[given], plants.floor[given], plants.rate[given], sure[given])
    index = 140.0 * (np.maximum(end - 0.05, 0.0) / scale[given]) ** 1.7
    assert 0.93 <= np.mean(index <= limit) <= 0.97


@pytest.mark.parametrize(("count", "minutes"), [(1, (0.0, 6.0, 12.0)), (5, (0.0, 6.0, 12.0)), (6, (0.0, 10.0))])
def test_sure_minutes_are_enough_after_fitting(count: int, minutes: tuple[float, ...]) -> None:
    plants = Plants(11 + count)
    results = [fit_kinetics(plants.runs(plant, count, minutes)) for plant in range(TREATMENTS)]
    share = plants.enough([result.kinetics for result in results]).mean()
    assert 0.93 <= share <= 0.97
    if count > 1:  # one treatment does not narrow what treatments differ by
        assert np.mean([result.kinetics.rate_log_sigma for result in results]) < PRIOR.rate_log_sigma

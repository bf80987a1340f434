"""The arithmetic of a judgement for any number of melts: draws of hydrogen, rate and floor, then odds and minutes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from castq.core.sampling import Draws, normal_draws
from castq.melt import defaults
from castq.melt.evidence import Evidence, equivalent_of, hydrogen_of, pairs_needed, proven_below, readings_needed
from castq.melt.types import Answer, Kinetics, MeltTarget
from castq.physics.degassing import hydrogen_after, minutes_to_target
from castq.physics.density_index import density_index_bound, hydrogen_equivalent

Array = NDArray[np.float64]
ANSWERS: Final[tuple[Answer, ...]] = ("cast", "degas", "hold and resample", "cannot reach")
CAST, DEGAS, HOLD, CANNOT = range(4)
_NAMES = ("hydrogen", "rate", "floor", "air", "pick up", "index", "closure")
# Rows at a time: small enough for the processor's own memory.
_BLOCK = 1024
# Below this many further samples it is worth taking them; above, degassing is the shorter way.
_WORTH_SAMPLING = 8
_LEAST_HYDROGEN = 0.005
_ONSET = float(hydrogen_equivalent(0.0))
# One-sided 95 % of a normal: the upper end of what hydrogen may be.
_UPPER_END = 1.645


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """What is around each melt, one row a melt: level of the air [ml/100g], minutes since the sample [min]."""

    air_ml_100g: Array
    minutes_since: Array


@dataclass(frozen=True, slots=True, eq=False)
class Judgements:
    """The answers for some melts, each array with one row a melt; see `Judgement` for the meaning of each field."""

    answer: NDArray[np.int_]
    hydrogen_median_ml_100g: Array
    hydrogen_p10_ml_100g: Array
    hydrogen_p90_ml_100g: Array
    hydrogen_is_equivalent: NDArray[np.bool_]
    index_pct: Array
    index_proven_below_pct: Array
    index_bound_pct: Array
    bad_sample: NDArray[np.bool_]
    probability_ok: Array
    minutes_median: Array
    minutes_sure: Array
    samples_needed: Array

    def words(self) -> list[Answer]:
        """Return the answers in words."""
        return [ANSWERS[code] for code in self.answer]


Table = TypeVar("Table", Evidence, Surroundings)


def kinetics_draws(kinetics: Kinetics, draws: Draws) -> tuple[Array, Array]:
    """Return draws of rate [1/min] and floor [ml/100g] of the next treatment, correlated as they were learnt.

    Parameters
    ----------
    kinetics : Kinetics
        Calibration or defaults.
    draws : dict of name to array
        Standard-normal draws named `rate` and `floor`.

    Returns
    -------
    tuple of array
        Rate [1/min] and floor [ml/100g].
    """
    shared = kinetics.rate_floor_correlation
    floor_draw = shared * draws["rate"] + np.sqrt(1.0 - shared**2) * draws["floor"]
    rate = kinetics.rate_per_min * np.exp(kinetics.rate_log_sigma * draws["rate"])
    return rate, np.maximum(kinetics.floor_ml_100g + kinetics.floor_sigma_ml_100g * floor_draw, 0.0)


def melt_draws(seed: int, count: int) -> Draws:
    """Return the standard-normal draws of all that a judgement is unsure of."""
    return normal_draws(_NAMES, count, seed)


def upper_quantile(values: Array, share: float) -> Array:
    """Return a quantile over the last axis that is one of the values, so that infinity stays infinity."""
    return upper_quantiles(values, (share,))[0]


def upper_quantiles(values: Array, shares: Sequence[float]) -> list[Array]:
    """Return several quantiles as `upper_quantile` does, from one sorting."""
    count = values.shape[-1]
    places = [min(max(int(np.ceil(share * count)) - 1, 0), count - 1) for share in shares]
    # Sorting short rows is several times faster than partitioning them.
    ordered = np.sort(values, axis=-1)
    return [ordered[..., place] for place in places]


def hydrogen_now(mean: Array, sigma: Array, around: Surroundings, kinetics: Kinetics, draws: Draws) -> Array:
    """Return draws of hydrogen now: as sampled, and carried towards the level of the air since [ml/100g].

    Parameters
    ----------
    mean, sigma : array (n,)
        Mean and standard deviation as sampled [ml/100g].
    around : Surroundings
        Level of the air, and minutes since the sample.
    kinetics : Kinetics
        For the pick-up.
    draws : dict of name to array (m,)
        Standard-normal draws.

    Returns
    -------
    array (n, m)
        Hydrogen [ml/100g].
    """
    sampled = np.maximum(mean[:, None] + sigma[:, None] * draws["hydrogen"], _LEAST_HYDROGEN)
    if not np.any(around.minutes_since > 0.0):
        return sampled
    air, pick_up = air_draws(around.air_ml_100g, kinetics, draws)
    return hydrogen_after(sampled, air, pick_up, around.minutes_since[:, None])


def air_draws(air_ml_100g: Array, kinetics: Kinetics, draws: Draws) -> tuple[Array, Array]:
    """Return draws of the level of the air (n, m) [ml/100g] and of the pick-up rate (m,) [1/min]."""
    air = air_ml_100g[:, None] * np.exp(defaults.AIR_LOG_SIGMA * draws["air"])
    return air, kinetics.pick_up_per_min * np.exp(kinetics.pick_up_log_sigma * draws["pick up"])


def judge_rows(
    evidence: Evidence, around: Surroundings, target: MeltTarget, kinetics: Kinetics, draws: Draws
) -> Judgements:
    """Judge melts, one a row.

    Parameters
    ----------
    evidence : Evidence
        What was measured.
    around : Surroundings
        Level of the air, and minutes since the sample.
    target : MeltTarget
        What the melts must meet.
    kinetics : Kinetics
        Calibration or defaults.
    draws : dict of name to array
        From `melt_draws`.

    Returns
    -------
    Judgements
        The answers.
    """
    blocks = [
        _judge(_rows(evidence, start), _rows(around, start), target, kinetics, draws)
        for start in range(0, max(evidence.index_pct.size, 1), _BLOCK)
    ]
    return Judgements(
        *(np.concatenate([getattr(block, field.name) for block in blocks]) for field in fields(Judgements))
    )


def _rows(table: Table, start: int) -> Table:
    """Return one block of rows of a table of arrays."""
    columns = (getattr(table, field.name)[start : start + _BLOCK] for field in fields(table))
    return type(table)(*columns)


def _judge(
    evidence: Evidence, around: Surroundings, target: MeltTarget, kinetics: Kinetics, draws: Draws
) -> Judgements:
    """Judge one block of rows."""
    read = evidence.readings > 0
    bound, bad = _bound(evidence)
    trusted = trusted_part(evidence)
    by_index = np.isfinite(trusted.index_pct) & (target.density_index_pct is not None) & ~bad
    by_hydrogen = read | ~by_index
    now = hydrogen_now(*hydrogen_of(trusted), around, kinetics, draws)
    minutes = _minutes(now, trusted, by_hydrogen, by_index, target, kinetics, draws)
    ok = np.where(by_hydrogen, np.mean(now <= target.hydrogen_ml_100g, axis=1), 1.0)
    ok = np.where(by_index, np.fmin(ok, _index_odds(evidence, target)), ok)
    needed = _needed(evidence, target, read, by_index)
    median, sure = upper_quantiles(minutes, (0.5, target.sure))
    low, middle, high = upper_quantiles(now, (0.1, 0.5, 0.9))
    answer = _answers(ok, np.where(read, bad & (ok >= 0.5), bad), (median, sure), needed, target.sure)
    needed = np.where(answer == CAST, 0.0, np.where(bad, np.fmax(needed, 1.0), needed))
    return Judgements(
        answer=answer,
        hydrogen_median_ml_100g=middle,
        hydrogen_p10_ml_100g=low,
        hydrogen_p90_ml_100g=high,
        hydrogen_is_equivalent=~read,
        index_pct=evidence.index_pct,
        index_proven_below_pct=proven_below(evidence, target.sure),
        index_bound_pct=bound,
        bad_sample=bad,
        probability_ok=ok,
        minutes_median=median,
        minutes_sure=sure,
        samples_needed=needed,
    )


def trusted_part(evidence: Evidence) -> Evidence:
    """Return the evidence without density indices that oxides have blown up, where a reading tells hydrogen better."""
    dropped = _bound(evidence)[1] & (evidence.readings > 0)
    return replace(evidence, index_pct=np.where(dropped, np.nan, evidence.index_pct))


def _bound(evidence: Evidence) -> tuple[Array, NDArray[np.bool_]]:
    """Return the highest density index that the upper end of hydrogen can make, and where the index is above it."""
    mean, sigma = hydrogen_of(replace(evidence, index_pct=np.where(evidence.readings > 0, np.nan, evidence.index_pct)))
    bound = density_index_bound(mean + _UPPER_END * sigma, evidence.test_pressure_mbar)
    return bound, evidence.index_pct > bound


def _minutes(
    now: Array,
    evidence: Evidence,
    by_hydrogen: NDArray[np.bool_],
    by_index: NDArray[np.bool_],
    target: MeltTarget,
    kinetics: Kinetics,
    draws: Draws,
) -> Array:
    """Return draws of the minutes that meet every limit that applies (n, m) [min]."""
    rate, floor = kinetics_draws(kinetics, draws)
    minutes = np.zeros(now.shape)
    minutes[by_hydrogen] = minutes_to_target(now[by_hydrogen], target.hydrogen_ml_100g, floor, rate)
    if np.any(by_index):
        start, aim = (values[by_index] for values in index_as_hydrogen(evidence, target, draws))
        minutes[by_index] = np.maximum(minutes[by_index], minutes_to_target(start, aim, floor, rate))
    return minutes


def index_as_hydrogen(evidence: Evidence, target: MeltTarget, draws: Draws) -> tuple[Array, Array]:
    """Return draws of the hydrogen that the mean density index and its limit stand for.

    Parameters
    ----------
    evidence : Evidence
        What was measured.
    target : MeltTarget
        With a limit of the density index.
    draws : dict of name to array (m,)
        Standard-normal draws.

    Returns
    -------
    tuple of array (n, m)
        Of the melt, and of the limit [ml/100g].

    Notes
    -----
    What hydrogen an index stands for is not known well, but it is the same relation at both ends.
    """
    shared = np.exp(defaults.EQUIVALENT_LOG_SIGMA * draws["closure"])
    equivalent, error = (values[:, None] for values in equivalent_of(evidence))
    melt = _ONSET + (equivalent - _ONSET + error * draws["index"]) * shared
    limit = hydrogen_equivalent(target.density_index_pct or 0.0, target.density_index_pressure_mbar)
    return melt, np.broadcast_to(_ONSET + (limit - _ONSET) * shared, melt.shape)


def _index_odds(evidence: Evidence, target: MeltTarget) -> Array:
    """Return the probability that the true mean of the density index lies below its limit."""
    limit = np.inf if target.density_index_pct is None else target.density_index_pct
    return np.asarray(stdtr(evidence.index_freedom(), (limit - evidence.index_pct) / evidence.index_error_pct()))


def _needed(evidence: Evidence, target: MeltTarget, read: NDArray[np.bool_], by_index: NDArray[np.bool_]) -> Array:
    """Return how many further samples would decide: infinite where no sensible number would, NaN where none can."""
    more_readings = readings_needed(evidence, target.hydrogen_ml_100g, target.sure) - evidence.readings
    more_pairs = pairs_needed(evidence, target.density_index_pct or 0.0, target.sure) - evidence.pairs
    needed = np.maximum(np.where(read, more_readings, 0.0), np.where(by_index, more_pairs, 0.0))
    return np.where(read | by_index, np.where(np.isnan(needed), np.inf, np.maximum(needed, 0.0)), np.nan)


def _answers(
    ok: Array, doubtful: NDArray[np.bool_], minutes: tuple[Array, Array], needed: Array, sure: float
) -> NDArray[np.int_]:
    """Return the answer of each row, as an index into `ANSWERS`."""
    median, certain = minutes
    undecided = (needed <= _WORTH_SAMPLING) | ~np.isfinite(certain) | np.isnan(needed)
    cases = (doubtful, ok >= sure, ok >= 0.5, np.isfinite(median))
    return np.select(cases, (HOLD, CAST, np.where(undecided, HOLD, DEGAS), DEGAS), CANNOT)

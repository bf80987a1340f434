"""Judge samples of a melt: cast, degas, sample again, or a target that cannot be reached; with odds and minutes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from castq.core.cautions import cautions_for
from castq.core.errors import input_error
from castq.core.relation import trace
from castq.melt import defaults
from castq.melt.checks import check_air, check_order, check_samples
from castq.melt.clocks import hydrogen_clock
from castq.melt.engine import (
    ANSWERS,
    CAST,
    Judgements,
    Surroundings,
    air_draws,
    hydrogen_now,
    index_as_hydrogen,
    judge_rows,
    melt_draws,
    trusted_part,
    upper_quantile,
)
from castq.melt.evidence import Evidence, evidence_of, hydrogen_of, proven_below
from castq.melt.judge_words import Case, defaults_used, help_for, reasons_for, say, why_bad
from castq.melt.types import Air, Clock, Interval, Judgement, Kinetics, MeltTarget, Sample
from castq.physics.degassing import hydrogen_after

Array = NDArray[np.float64]
_DRAWS = 4096
_DRAWS_OF_LOG = 128


@dataclass(frozen=True, slots=True, eq=False)
class MeltDraws:
    """Draws of one melt, for those who carry them on: hydrogen and level of the air (m,) [ml/100g], pick-up [1/min]."""

    hydrogen_ml_100g: Array
    air_ml_100g: Array
    pick_up_per_min: Array


def judge(
    samples: Sequence[Sample],
    target: MeltTarget | None = None,
    kinetics: Kinetics | None = None,
    air: Air | None = None,
    *,
    now: datetime | None = None,
    seed: int = 1,
    draws: int = _DRAWS,
) -> Judgement:
    """Judge the samples of one melt.

    Parameters
    ----------
    samples : sequence of Sample
        Samples of one furnace since its last treatment.
    target : MeltTarget or None
        What the melt must meet; none for 0.12 ml/100g with 95 % certainty.
    kinetics : Kinetics or None
        Calibration of furnace and rotor; none for the labelled defaults.
    air : Air or None
        Air at the furnace mouth; none for the labelled default.
    now : datetime or None
        Time of the answer; none for that of the last sample.
    seed : int
        Seed of the draws.
    draws : int
        Number of draws.

    Returns
    -------
    Judgement
        The answer, its odds and its grounds.

    Raises
    ------
    InputError
        If an entry cannot be meant as it stands.
    """
    wanted = target or MeltTarget()
    with trace() as used:
        case = _case(samples, wanted, kinetics, air, now)
        standard = melt_draws(seed, draws)
        rows = judge_rows(case.evidence, case.around, wanted, case.kinetics, standard)
        melt = _draws_of(case, standard)
        clocks = (_clock(melt, case, standard),) if rows.answer[0] == CAST else ()
    return _judgement(case, rows, melt, clocks, tuple(sorted(used.used)))


def melt_draws_of(
    samples: Sequence[Sample],
    kinetics: Kinetics | None = None,
    air: Air | None = None,
    *,
    now: datetime | None = None,
    seed: int = 1,
    draws: int = _DRAWS,
) -> MeltDraws:
    """Return draws of the hydrogen of a melt now, for a release table; the arguments are those of `judge`."""
    return _draws_of(_case(samples, MeltTarget(), kinetics, air, now), melt_draws(seed, draws))


def judge_many(
    evidence: Evidence,
    target: MeltTarget | None = None,
    kinetics: Kinetics | None = None,
    air_ml_100g: Array | float | None = None,
    *,
    seed: int = 1,
    draws: int = _DRAWS_OF_LOG,
) -> Judgements:
    """Judge a log of melts at once, as at the time of each sample; entries are taken as checked.

    Parameters
    ----------
    evidence : Evidence
        One row a melt, from `evidence_of` or `evidence_of_columns`.
    target : MeltTarget or None
        What the melts must meet.
    kinetics : Kinetics or None
        Calibration of furnace and rotor; none for the labelled defaults.
    air_ml_100g : array (n,), float or None
        Level that the melts go to under their air [ml/100g]; none for that of the default air.
    seed : int
        Seed of the draws.
    draws : int
        Number of draws.

    Returns
    -------
    Judgements
        The answers, one row a melt.
    """
    shape = evidence.index_pct.shape
    level = defaults.air_level(defaults.DEFAULT_MELT_TEMP_C, None) if air_ml_100g is None else air_ml_100g
    around = Surroundings(np.array(np.broadcast_to(level, shape), dtype=float), np.zeros(shape))
    used = kinetics or defaults.default_kinetics(float(np.median(level)))
    return judge_rows(evidence, around, target or MeltTarget(), used, melt_draws(seed, draws))


def _case(
    samples: Sequence[Sample], target: MeltTarget, kinetics: Kinetics | None, air: Air | None, now: datetime | None
) -> Case:
    """Return all that a judgement rests on, checked."""
    check_samples(samples)
    if air is not None:
        check_air(air)
    last = max(samples, key=lambda sample: sample.taken_at)
    moment = last.taken_at if now is None else now
    check_order({"last sample, taken_at": last.taken_at, "now": moment}, "judgement")
    evidence = evidence_of([samples])
    _check_pressure(evidence, target)
    level = defaults.air_level(last.melt_temp_c, air)
    minutes = (moment - last.taken_at).total_seconds() / 60.0
    around = Surroundings(np.array([level]), np.array([minutes]))
    used = kinetics or defaults.default_kinetics(level)
    return Case(tuple(samples), last, moment, target, used, air, evidence, around)


def _check_pressure(evidence: Evidence, target: MeltTarget) -> None:
    """Refuse a density index limit that was set for another test pressure."""
    pressure, wanted = float(evidence.test_pressure_mbar[0]), target.density_index_pressure_mbar
    if target.density_index_pct is not None and abs(pressure - wanted) > 0.1 * wanted:
        raise input_error(
            "sample",
            "test_pressure_mbar",
            f"{pressure:g} mbar, but the limit of the density index was set for {wanted:g} mbar",
            "one test pressure",
            "use the limit that belongs to this pressure",
        )


def _draws_of(case: Case, standard: dict[str, Array]) -> MeltDraws:
    """Return the draws of hydrogen, air level and pick-up of one melt."""
    hydrogen = hydrogen_now(*hydrogen_of(trusted_part(case.evidence)), case.around, case.kinetics, standard)[0]
    air, pick_up = air_draws(case.around.air_ml_100g, case.kinetics, standard)
    return MeltDraws(hydrogen, air[0], pick_up)


def _clock(melt: MeltDraws, case: Case, standard: dict[str, Array]) -> Clock:
    """Return the clock of hydrogen; where only the density index was proven, in the hydrogen that it stands for."""
    hydrogen, limit = melt.hydrogen_ml_100g, np.array(case.target.hydrogen_ml_100g)
    words = f"below {case.aim}"
    if not case.has_reading:
        sampled, aim = index_as_hydrogen(case.evidence, case.target, standard)
        hydrogen, limit = hydrogen_after(sampled[0], melt.air_ml_100g, melt.pick_up_per_min, case.minutes_since), aim[0]
    return hydrogen_clock(
        hydrogen, limit, (melt.air_ml_100g, melt.pick_up_per_min), case.target.sure, case.moment, words
    )


def _judgement(
    case: Case, rows: Judgements, melt: MeltDraws, clocks: tuple[Clock, ...], relations: tuple[str, ...]
) -> Judgement:
    """Return the one row as a judgement, with its words."""
    needed = float(rows.samples_needed[0])
    bad = bool(rows.bad_sample[0])
    measured = bool(np.isfinite(rows.index_pct[0]))
    return Judgement(
        answer=ANSWERS[rows.answer[0]],
        words=say(case, rows),
        hydrogen_ml_100g=_interval(melt.hydrogen_ml_100g),
        hydrogen_is_equivalent=bool(rows.hydrogen_is_equivalent[0]),
        density_index_pct=_index(case.evidence) if measured else None,
        density_index_proven_below_pct=float(rows.index_proven_below_pct[0]) if measured else None,
        density_index_bound_pct=float(rows.index_bound_pct[0]) if measured else None,
        bad_sample=bad,
        bad_sample_why=why_bad(rows) if bad else "",
        minutes_median=float(rows.minutes_median[0]),
        minutes_sure=float(rows.minutes_sure[0]),
        probability_ok=float(rows.probability_ok[0]),
        samples_needed=int(needed) if np.isfinite(needed) else None,
        reasons=reasons_for(case, rows),
        what_helps=help_for(case, rows),
        cautions=cautions_for("melt"),
        relations_used=relations,
        defaults_used=defaults_used(case),
        clocks=clocks,
        good_until=clocks[0].good_until if clocks else None,
    )


def _interval(draws: Array) -> Interval:
    low, middle, high = (float(upper_quantile(draws, share)) for share in (0.1, 0.5, 0.9))
    return Interval(middle, low, high)


def _index(evidence: Evidence) -> Interval:
    """Return the mean density index, with what it lies above and below with 90 % certainty each."""
    mean, high = float(evidence.index_pct[0]), float(proven_below(evidence, 0.9)[0])
    return Interval(mean, max(2.0 * mean - high, 0.0), high)

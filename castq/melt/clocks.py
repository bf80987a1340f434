"""Until when a held melt stays good: hydrogen from the air, strontium, grain refiner."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from math import log

import numpy as np
from numpy.typing import NDArray

from castq.core.sampling import normal_draws
from castq.melt.engine import upper_quantile
from castq.melt.types import Addition, Clock, Treatment
from castq.physics.degassing import minutes_to_limit
from castq.physics.melt_clocks import (
    STRONTIUM_HALF_LIFE_H,
    settling_minutes,
    settling_speed,
    strontium_hours,
    strontium_left,
)

Array = NDArray[np.float64]
# Lower end of the window of modification, and the half-life's factor 2.5: common practice, no source.
STRONTIUM_LIMIT_PPM = 80.0
STRONTIUM_LOG_SIGMA = log(2.5)
# Half of the 5 um borides of a 0.6 m bath; the spread puts the sure end at the 30 min of common practice.
BATH_DEPTH_MM = 600.0
BORIDE_RADIUS_UM = 5.0
REFINER_LOG_SIGMA = 0.28
_DRAWS = 1024
# Beyond a day no clock of a melt means anything.
_LONGEST_MIN = 24.0 * 60.0


def hydrogen_clock(
    hydrogen_ml_100g: Array,
    limit_ml_100g: Array,
    air: tuple[Array, Array],
    sure: float,
    starts_at: datetime,
    stays: str,
) -> Clock:
    """Return until when the held melt stays below its hydrogen limit.

    Parameters
    ----------
    hydrogen_ml_100g : array (m,)
        Draws of hydrogen now [ml/100g].
    limit_ml_100g : array (m,) or array ()
        Limit, or draws of it [ml/100g].
    air : tuple of array (m,)
        Draws of the level of the air [ml/100g] and of the pick-up rate [1/min].
    sure : float
        Certainty asked for [-].
    starts_at : datetime
        Now.
    stays : str
        What it stays, in words.

    Returns
    -------
    Clock
        Its end.
    """
    minutes = minutes_to_limit(hydrogen_ml_100g, limit_ml_100g, *air)
    return _clock("hydrogen", minutes, sure, starts_at, f"{stays} if it is left quiet")


def good_until(
    additions: Sequence[Addition],
    treatments: Sequence[Treatment] = (),
    sure: float = 0.95,
    bath_depth_mm: float = BATH_DEPTH_MM,
    strontium_limit_ppm: float = STRONTIUM_LIMIT_PPM,
    seed: int = 1,
) -> tuple[Clock, ...]:
    """Return the clocks of strontium and refiner from the last addition of each.

    Parameters
    ----------
    additions : sequence of Addition
        Additions to one furnace.
    treatments : sequence of Treatment
        Treatments of it: each takes strontium and stirs the refiner up.
    sure : float
        Certainty asked for [-].
    bath_depth_mm : float
        Depth of the bath [mm].
    strontium_limit_ppm : float
        Strontium below which modification weakens [ppm].
    seed : int
        Seed of the draws.

    Returns
    -------
    tuple of Clock
        One each, where there was an addition.
    """
    draws = normal_draws(["clock"], _DRAWS, seed)["clock"]
    clocks = []
    strontium = _last(addition for addition in additions if addition.kind == "strontium" and addition.reaches)
    if strontium is not None:
        since = sum(treatment.started_at > strontium.at for treatment in treatments)
        start = strontium_left(strontium.reaches or 0.0, 0.0, treatments=since)
        half_life = STRONTIUM_HALF_LIFE_H * np.exp(STRONTIUM_LOG_SIGMA * draws)
        minutes = 60.0 * strontium_hours(start, strontium_limit_ppm, half_life)
        clocks.append(
            _clock("strontium", minutes, sure, strontium.at, f"above {strontium_limit_ppm:g} ppm of strontium")
        )
    refiner = _last(addition for addition in additions if addition.kind == "refiner")
    if refiner is not None:
        ends = [
            item.started_at + timedelta(minutes=item.minutes) for item in treatments if item.started_at > refiner.at
        ]
        speed = settling_speed(BORIDE_RADIUS_UM) * np.exp(REFINER_LOG_SIGMA * draws)
        words = "with half of its coarse refiner still afloat; stirring brings it back"
        clocks.append(_clock("refiner", settling_minutes(bath_depth_mm, speed), sure, max([refiner.at, *ends]), words))
    return tuple(clocks)


def _last(additions: Iterable[Addition]) -> Addition | None:
    return max(additions, key=lambda addition: addition.at, default=None)


def _clock(kind: str, minutes: Array, sure: float, starts_at: datetime, stays: str) -> Clock:
    """Return a clock from draws of the minutes until its limit is passed."""
    median, certain = float(upper_quantile(minutes, 0.5)), float(upper_quantile(minutes, 1.0 - sure))
    if certain > _LONGEST_MIN:
        return Clock(kind, median, certain, starts_at, None, f"No end in sight: the melt stays {stays}.")
    end = starts_at + timedelta(minutes=float(np.floor(certain)))
    middle = f"{median:.0f} min" if median <= _LONGEST_MIN else "more than a day"
    words = (
        f"Until {end:%H:%M} the melt stays {stays} ({100 * sure:g} % sure, {certain:.0f} min; even odds at {middle})."
    )
    return Clock(kind, median, certain, starts_at, end, words)

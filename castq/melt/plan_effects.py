"""The settings that a plan varies, one at a time: temperature, damp air, gas, rotor, melt."""

from __future__ import annotations

from dataclasses import dataclass, replace

from castq.melt import defaults
from castq.melt.types import Air
from castq.physics.damp_air import dew_point
from castq.physics.degassing import scaled_rate

_TEMPERATURE_STEP_K = 20.0
_DEW_POINT_STEP_K = 10.0
_FLOW_RATIO = 1.25
_SPEED_RATIO = 1.10
_MELT_RATIO = 1.25
_LEAST_VAPOUR_HPA = 0.1
_BY_FLOOR = "through the floor, which follows the level of the air; order of magnitude"
_BY_RATE = "through the rate by a power of common practice; order of magnitude, fit the rate at the new setting"


@dataclass(frozen=True, slots=True)
class Change:
    """A change of one setting: its name, the rate over that before [-], the level of the air after [ml/100g]."""

    name: str
    rate_ratio: float
    air_ml_100g: float | None
    words: str


@dataclass(frozen=True, slots=True)
class Effect:
    """What a change of one setting would do.

    Attributes
    ----------
    change : str
        The change, in words.
    minutes_median, minutes_sure : float
        Minutes to the target after it [min].
    difference_min : float
        Change of the median minutes; NaN when either is infinite [min].
    floor_ml_100g : float
        Floor after it [ml/100g].
    words : str
        By which way it works, and how well that is known.
    """

    change: str
    minutes_median: float
    minutes_sure: float
    difference_min: float
    floor_ml_100g: float
    words: str


def changes(melt_temp_c: float, air: Air | None) -> tuple[Change, ...]:
    """Return the changes that a plan shows.

    Parameters
    ----------
    melt_temp_c : float
        Melt temperature [degC].
    air : Air or None
        Air at the furnace mouth; none for the labelled default.

    Returns
    -------
    tuple of Change
        One setting each.
    """
    here = air or defaults.DEFAULT_AIR
    dew = float(dew_point(max(defaults.vapour_of(here), _LEAST_VAPOUR_HPA)))
    levels = {
        f"melt {step:+g} K": defaults.air_level(melt_temp_c + step, here)
        for step in (-_TEMPERATURE_STEP_K, _TEMPERATURE_STEP_K)
    } | {
        f"dew point {step:+g} K": defaults.air_level(melt_temp_c, replace(here, dew_point_c=dew + step))
        for step in (-_DEW_POINT_STEP_K, _DEW_POINT_STEP_K)
    }
    rates = {
        f"gas flow {100 * (_FLOW_RATIO - 1):+.0f} %": scaled_rate(1.0, flow_ratio=_FLOW_RATIO),
        f"gas flow {100 * (1 / _FLOW_RATIO - 1):+.0f} %": scaled_rate(1.0, flow_ratio=1 / _FLOW_RATIO),
        f"rotor speed {100 * (_SPEED_RATIO - 1):+.0f} %, short of a vortex": scaled_rate(1.0, speed_ratio=_SPEED_RATIO),
        f"melt {100 * (_MELT_RATIO - 1):+.0f} %": scaled_rate(1.0, melt_ratio=_MELT_RATIO),
        f"melt {100 * (1 / _MELT_RATIO - 1):+.0f} %": scaled_rate(1.0, melt_ratio=1 / _MELT_RATIO),
    }
    by_floor = [Change(name, 1.0, level, _BY_FLOOR) for name, level in levels.items()]
    return (*by_floor, *(Change(name, float(ratio), None, _BY_RATE) for name, ratio in rates.items()))

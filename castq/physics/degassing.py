"""Degassing and re-gassing as first-order changes towards a steady level, and the floor met in practice."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, Band, relation

# Lowest floor of a rotor treatment met in dry weather, and the floor as a share of the level of the air.
DRY_FLOOR_ML_100G = 0.06
AIR_SHARE_OF_FLOOR = 0.6
# How the rate goes with rotor speed, gas flow and melt, each as a power: middle of what is said in the trade.
SPEED_POWER = 1.75
FLOW_POWER = 0.45
MELT_POWER = -1.0


@relation(
    id="degassing-first-order",
    title="Hydrogen after a time of first-order change towards a steady level",
    source="first-order law dH/dt = -k (H - steady), the working model of batch degassing and of re-gassing",
    provenance="derived",
    band=EXACT,
    valid={"rate_per_min": (0.0, 2.0), "minutes": (0.0, 1440.0)},
)
def hydrogen_after(
    start_ml_100g: ArrayLike, steady_ml_100g: ArrayLike, rate_per_min: ArrayLike, minutes: ArrayLike
) -> NDArray[np.float64]:
    """Return the hydrogen after some minutes.

    Parameters
    ----------
    start_ml_100g : array_like
        Hydrogen at the start [ml/100g].
    steady_ml_100g : array_like
        Level that the melt goes to: the floor when degassing, the level of the air when holding [ml/100g].
    rate_per_min : array_like
        Rate [1/min].
    minutes : array_like
        Time [min].

    Returns
    -------
    array
        Hydrogen [ml/100g].

    Notes
    -----
    H = steady + (start - steady) exp(-rate * minutes). The law is exact in itself; how well a melt follows it lies in
    rate and steady level.
    """
    steady = np.asarray(steady_ml_100g, dtype=float)
    decay = np.exp(-np.asarray(rate_per_min, dtype=float) * np.asarray(minutes, dtype=float))
    return steady + (np.asarray(start_ml_100g, dtype=float) - steady) * decay


@relation(
    id="degassing-minutes",
    title="Minutes of degassing to a target",
    source="first-order law dH/dt = -k (H - floor), solved for time",
    provenance="derived",
    band=EXACT,
    valid={"rate_per_min": (0.0, 2.0)},
)
def minutes_to_target(
    start_ml_100g: ArrayLike, target_ml_100g: ArrayLike, floor_ml_100g: ArrayLike, rate_per_min: ArrayLike
) -> NDArray[np.float64]:
    """Return the minutes of degassing until hydrogen has fallen to a target.

    Parameters
    ----------
    start_ml_100g : array_like
        Hydrogen now [ml/100g].
    target_ml_100g : array_like
        Target [ml/100g].
    floor_ml_100g : array_like
        Level below which treating longer does not go [ml/100g].
    rate_per_min : array_like
        Rate [1/min].

    Returns
    -------
    array
        Minutes: 0 at or below the target, infinite when the target is not above the floor [min].
    """
    start, target = np.asarray(start_ml_100g, dtype=float), np.asarray(target_ml_100g, dtype=float)
    floor = np.asarray(floor_ml_100g, dtype=float)
    return _minutes(start - floor, target - floor, rate_per_min, done=start <= target)


@relation(
    id="regassing-minutes",
    title="Minutes of holding until hydrogen has risen to a limit",
    source="first-order law dH/dt = k (H_air - H), solved for time",
    provenance="derived",
    band=EXACT,
    valid={"pick_up_per_min": (0.0, 0.1)},
)
def minutes_to_limit(
    start_ml_100g: ArrayLike, limit_ml_100g: ArrayLike, air_ml_100g: ArrayLike, pick_up_per_min: ArrayLike
) -> NDArray[np.float64]:
    """Return the minutes of holding until hydrogen has risen to a limit.

    Parameters
    ----------
    start_ml_100g : array_like
        Hydrogen now [ml/100g].
    limit_ml_100g : array_like
        Limit [ml/100g].
    air_ml_100g : array_like
        Level that the melt goes to under its air [ml/100g].
    pick_up_per_min : array_like
        Rate of pick-up [1/min].

    Returns
    -------
    array
        Minutes: 0 at or above the limit, infinite when the air does not carry the melt there [min].
    """
    start, limit = np.asarray(start_ml_100g, dtype=float), np.asarray(limit_ml_100g, dtype=float)
    air = np.asarray(air_ml_100g, dtype=float)
    return _minutes(air - start, air - limit, pick_up_per_min, done=start >= limit)


def _minutes(
    now: NDArray[np.float64], then: NDArray[np.float64], rate_per_min: ArrayLike, *, done: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Return the minutes in which a distance from the steady level shrinks from `now` to `then`."""
    with np.errstate(divide="ignore", invalid="ignore"):
        # Where it is done, the logarithm is negative or, beyond the steady level, not a number.
        minutes = np.fmax(np.log(now / then) / np.asarray(rate_per_min, dtype=float), 0.0)
    blocked = then <= 0.0
    return np.where(blocked, np.where(done, 0.0, np.inf), minutes) if np.any(blocked) else minutes


@relation(
    id="degassing-steady-level",
    title="Steady hydrogen between purge gas and surface",
    source="balance of first-order removal by the purge gas and first-order pick-up at the surface",
    provenance="derived",
    band=EXACT,
    valid={"removal_per_min": (0.0, 2.0), "pick_up_per_min": (0.0, 0.5)},
)
def steady_hydrogen(
    removal_per_min: ArrayLike, pick_up_per_min: ArrayLike, air_ml_100g: ArrayLike, gas_ml_100g: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Return the level at which removal by the purge gas balances pick-up at the surface.

    Parameters
    ----------
    removal_per_min : array_like
        Rate of removal by the purge gas [1/min].
    pick_up_per_min : array_like
        Rate of pick-up at the surface [1/min].
    air_ml_100g : array_like
        Level that the melt goes to under its air [ml/100g].
    gas_ml_100g : array_like
        Level in balance with the hydrogen of the purge gas, 0 for dry gas [ml/100g].

    Returns
    -------
    array
        Steady hydrogen [ml/100g].

    Notes
    -----
    The surface that a rotor stirs takes up faster than a quiet one: the pick-up rate of holding belongs to holding.
    """
    removal, pick_up = np.asarray(removal_per_min, dtype=float), np.asarray(pick_up_per_min, dtype=float)
    return (removal * gas_ml_100g + pick_up * np.asarray(air_ml_100g, dtype=float)) / (removal + pick_up)


@relation(
    id="degassing-practical-floor",
    title="Lowest hydrogen that a rotor treatment reaches",
    source="share of the level of the air chosen to meet the floors of the trade, 0.05 to 0.08 ml/100g in dry and 0.08 "
    "to 0.12 in humid weather: common practice, no source",
    provenance="practice",
    band=Band("absolute", 0.015, "ml/100g", "width of the floors of the trade"),
    valid={"air_ml_100g": (0.04, 0.25)},
    closure=True,
)
def practical_floor(air_ml_100g: ArrayLike) -> NDArray[np.float64]:
    """Return the floor of a rotor treatment until it is fitted.

    Parameters
    ----------
    air_ml_100g : array_like
        Level that the melt goes to under its air [ml/100g].

    Returns
    -------
    array
        Floor [ml/100g].

    Notes
    -----
    The larger of 0.06 and 0.6 times the level of the air.
    """
    return np.maximum(DRY_FLOOR_ML_100G, AIR_SHARE_OF_FLOOR * np.asarray(air_ml_100g, dtype=float))


@relation(
    id="degassing-rate-scaling",
    title="Rate of degassing after a change of rotor speed, gas flow or melt",
    source="powers 1.5 to 2 of speed, 0.3 to 0.6 of flow, -1 of melt: common practice, no source",
    provenance="practice",
    band=Band("factor", 1.3, "order of magnitude, up to the onset of a vortex"),
    valid={"speed_ratio": (0.7, 1.4), "flow_ratio": (0.5, 2.0), "melt_ratio": (0.5, 2.0)},
    closure=True,
)
def scaled_rate(
    rate_per_min: ArrayLike, speed_ratio: ArrayLike = 1.0, flow_ratio: ArrayLike = 1.0, melt_ratio: ArrayLike = 1.0
) -> NDArray[np.float64]:
    """Return the rate after a change of settings, an order of magnitude.

    Parameters
    ----------
    rate_per_min : array_like
        Rate before [1/min].
    speed_ratio : array_like
        Rotor speed over that before [-].
    flow_ratio : array_like
        Gas flow over that before [-].
    melt_ratio : array_like
        Melt over that before [-].

    Returns
    -------
    array
        Rate after [1/min].

    Notes
    -----
    Beyond the onset of a vortex a faster rotor draws oxide and air into the melt. Fit the rate at the new setting.
    """
    speed, flow, melt = (np.asarray(x, dtype=float) for x in (speed_ratio, flow_ratio, melt_ratio))
    return np.asarray(rate_per_min, dtype=float) * speed**SPEED_POWER * flow**FLOW_POWER * melt**MELT_POWER

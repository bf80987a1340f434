"""What the desk assumes when it is not told: air, kinetics, and the scatter of measurements, each with its ground."""

from __future__ import annotations

from math import log

from castq.melt.types import Air, Kinetics
from castq.physics.damp_air import vapour_hydrogen, vapour_pressure, water_saturation_pressure
from castq.physics.degassing import practical_floor

# Air at the furnace mouth of a temperate summer: common practice, no source.
DEFAULT_AIR = Air(air_temp_c=25.0, relative_humidity_pct=60.0)
DEFAULT_MELT_TEMP_C = 720.0
# One sigma of the level of the air, of the share of the water's hydrogen that dissolves.
AIR_LOG_SIGMA = 0.18

# Rotor treatment of 300 to 1000 kg: common practice, no source. The spread of the rate splits into that of furnaces
# and that of the treatments of one furnace.
RATE_PER_MIN = 0.18
RATE_LOG_SIGMA = 0.35
TREATMENT_LOG_SIGMA = 0.18
FLOOR_SIGMA_ML_100G = 0.015
# Oxide-skinned bath 0.6 m deep with a transfer coefficient of 5e-5 m/s; factor 3 at two sigma.
PICK_UP_PER_MIN = 0.005
PICK_UP_LOG_SIGMA = log(3.0) / 2.0

# Density index: band of the hydrogen-equivalent, the same for all pairs of a melt, as an amount and as a share of
# what lies above the onset.
EQUIVALENT_SIGMA_ML_100G = 0.04
EQUIVALENT_LOG_SIGMA = log(1.5) / 1.7
# Scatter between pairs of one melt: 20 to 30 %, at least some 0.4 points where a single pair has to stand for all.
SINGLE_PAIR_SHARE = 0.30
SINGLE_PAIR_POINTS = 0.4
LEAST_PAIR_SHARE = 0.15
# Density index by weighing 80 g on a balance of 0.01 g.
WEIGHING_POINTS = 0.07

# Hydrogen instrument: scatter sqrt(0.01^2 + (0.07 H)^2), and the factor 1.2 between alloy factors at two sigma, the
# same for all readings, when the factor that was set is not known.
READING_SIGMA_ML_100G = 0.01
READING_SHARE = 0.07
UNKNOWN_FACTOR_LOG_SIGMA = log(1.2) / 2.0


def vapour_of(air: Air) -> float:
    """Return the vapour pressure of the air, by its dew point if it is given [hPa]."""
    if air.dew_point_c is not None:
        return float(water_saturation_pressure(air.dew_point_c))
    humidity = DEFAULT_AIR.relative_humidity_pct if air.relative_humidity_pct is None else air.relative_humidity_pct
    return float(vapour_pressure(air.air_temp_c, humidity or 0.0))


def air_level(melt_temp_c: float, air: Air | None) -> float:
    """Return the hydrogen that a melt goes to under its air [ml/100g]."""
    return float(vapour_hydrogen(melt_temp_c, vapour_of(air or DEFAULT_AIR)))


def default_kinetics(air_ml_100g: float | None = None) -> Kinetics:
    """Return the labelled defaults.

    Parameters
    ----------
    air_ml_100g : float or None
        Level that the melt goes to under its air, for the floor [ml/100g]; none for that of the default air.

    Returns
    -------
    Kinetics
        Rate 0.18 per minute with a spread of 0.35, floor from the air, pick-up 0.3 per hour.
    """
    level = air_level(DEFAULT_MELT_TEMP_C, None) if air_ml_100g is None else air_ml_100g
    return Kinetics(
        rate_per_min=RATE_PER_MIN,
        rate_log_sigma=RATE_LOG_SIGMA,
        floor_ml_100g=float(practical_floor(level)),
        floor_sigma_ml_100g=FLOOR_SIGMA_ML_100G,
        pick_up_per_min=PICK_UP_PER_MIN,
        pick_up_log_sigma=PICK_UP_LOG_SIGMA,
        treatment_log_sigma=TREATMENT_LOG_SIGMA,
    )

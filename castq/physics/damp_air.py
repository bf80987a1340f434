"""Hydrogen that a melt takes from damp air."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import Band, relation
from castq.physics.hydrogen import solubility_talbot_anyalebechi

STANDARD_ATMOSPHERE_HPA = 1013.25


@relation(
    id="water-saturation-pressure",
    title="Saturation pressure of water vapour over water (Magnus form)",
    source="Magnus equation with the constants 6.112 hPa, 17.62 and 243.12 degC",
    provenance="memory",
    band=Band("relative", 0.003, "against humid-air tables"),
    valid={"air_temp_c": (-45.0, 60.0)},
)
def water_saturation_pressure(air_temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the saturation pressure of water vapour.

    Parameters
    ----------
    air_temp_c : array_like
        Air temperature [degC].

    Returns
    -------
    array
        Saturation pressure [hPa].
    """
    air = np.asarray(air_temp_c, dtype=float)
    return 6.112 * np.exp(17.62 * air / (243.12 + air))


@relation(
    id="hydrogen-from-humid-air",
    title="Steady hydrogen of a melt under damp air",
    source="Sieverts' law with the share of water hydrogen that dissolves, 0.51, from Syvertsen, Kvithyld et al., "
    "Light Metals 2019; default 0.75 lies midway to the upper bound 1",
    provenance="derived",
    band=Band("relative", 0.18, "share 0.51 to 1"),
    valid={
        "melt_temp_c": (669.85, 849.85),
        "air_temp_c": (-20.0, 50.0),
        "relative_humidity_pct": (0.0, 100.0),
        "dissolving_share": (0.51, 1.0),
    },
)
def humid_air_hydrogen(
    melt_temp_c: ArrayLike,
    air_temp_c: ArrayLike,
    relative_humidity_pct: ArrayLike,
    dissolving_share: ArrayLike = 0.75,
) -> NDArray[np.float64]:
    """Return the hydrogen that a melt tends to under damp air.

    Parameters
    ----------
    melt_temp_c : array_like
        Melt temperature [degC].
    air_temp_c : array_like
        Air temperature at the furnace mouth [degC].
    relative_humidity_pct : array_like
        Relative humidity at the furnace mouth [%].
    dissolving_share : array_like
        Share of the hydrogen made from water vapour that acts as the source [-].

    Returns
    -------
    array
        Steady hydrogen [ml/100g].

    Notes
    -----
    The reaction of aluminium with water runs to completion, so supply sets the level, not equilibrium. The
    solubility is that of pure aluminium: measured steady levels in air do not fall with silicon as the alloy's
    solubility does.
    """
    vapour_atm = water_saturation_pressure(air_temp_c) * (
        np.asarray(relative_humidity_pct, dtype=float) / (100.0 * STANDARD_ATMOSPHERE_HPA)
    )
    source_atm = np.asarray(dissolving_share, dtype=float) * vapour_atm
    return solubility_talbot_anyalebechi(melt_temp_c) * np.sqrt(source_atm)


@relation(
    id="water-vapour-from-humidity",
    title="Pressure of water vapour in air of a relative humidity",
    source="definition of relative humidity with the Magnus saturation pressure",
    provenance="derived",
    band=Band("relative", 0.003, "that of the saturation pressure"),
    valid={"air_temp_c": (-45.0, 60.0), "relative_humidity_pct": (0.0, 100.0)},
)
def vapour_pressure(air_temp_c: ArrayLike, relative_humidity_pct: ArrayLike) -> NDArray[np.float64]:
    """Return the pressure of water vapour in damp air.

    Parameters
    ----------
    air_temp_c : array_like
        Air temperature [degC].
    relative_humidity_pct : array_like
        Relative humidity [%].

    Returns
    -------
    array
        Vapour pressure [hPa].

    Notes
    -----
    Air whose dew point is known holds the saturation pressure at the dew point.
    """
    return water_saturation_pressure(air_temp_c) * np.asarray(relative_humidity_pct, dtype=float) / 100.0


@relation(
    id="dew-point",
    title="Dew point from the pressure of water vapour",
    source="Magnus equation with the constants 6.112 hPa, 17.62 and 243.12 degC, solved for temperature",
    provenance="memory",
    band=Band("absolute", 0.1, "degC", "against humid-air tables"),
    valid={"vapour_hpa": (0.1, 200.0)},
)
def dew_point(vapour_hpa: ArrayLike) -> NDArray[np.float64]:
    """Return the temperature at which the vapour of the air would begin to condense.

    Parameters
    ----------
    vapour_hpa : array_like
        Vapour pressure [hPa].

    Returns
    -------
    array
        Dew point [degC].
    """
    exponent = np.log(np.asarray(vapour_hpa, dtype=float) / 6.112)
    return 243.12 * exponent / (17.62 - exponent)


@relation(
    id="hydrogen-from-water-vapour",
    title="Steady hydrogen of a melt under air of a vapour pressure",
    source="Sieverts' law with the share of water hydrogen that dissolves, 0.51, from Syvertsen, Kvithyld et al., "
    "Light Metals 2019; default 0.75 lies midway to the upper bound 1",
    provenance="derived",
    band=Band("relative", 0.18, "share 0.51 to 1"),
    valid={"melt_temp_c": (669.85, 849.85), "vapour_hpa": (0.0, 250.0), "dissolving_share": (0.51, 1.0)},
)
def vapour_hydrogen(
    melt_temp_c: ArrayLike, vapour_hpa: ArrayLike, dissolving_share: ArrayLike = 0.75
) -> NDArray[np.float64]:
    """Return the hydrogen that a melt tends to under air or burner gas of a vapour pressure.

    Parameters
    ----------
    melt_temp_c : array_like
        Melt temperature [degC].
    vapour_hpa : array_like
        Vapour pressure at the furnace mouth [hPa].
    dissolving_share : array_like
        Share of the hydrogen made from water vapour that acts as the source [-].

    Returns
    -------
    array
        Steady hydrogen [ml/100g].

    Notes
    -----
    The same law as that of humid air, for air of known dew point and for burner gas (up to 18 % water by volume).
    """
    source_atm = np.asarray(dissolving_share, dtype=float) * np.asarray(vapour_hpa, dtype=float)
    return solubility_talbot_anyalebechi(melt_temp_c) * np.sqrt(source_atm / STANDARD_ATMOSPHERE_HPA)

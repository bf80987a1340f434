"""Thermal criteria for shrinkage: Niyama, its dimensionless form with porosity, and LCC."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, Band, relation

ATMOSPHERE_PA = 101325.0
NIYAMA_WARN = 0.30
NIYAMA_ALARM = 0.15

# Dimensionless Niyama value against the liquid fraction at which feeding fails, from the Scheil curve of
# Al-7Si-0.3Mg (COST 507 database, freezing range 57.85 K).
_NIYAMA_STAR = np.array([0.24, 0.82, 1.84, 3.57, 6.45, 6.63, 7.29, 9.77, 13.8, 24.4, 33.9, 52.0, 68.2, 94.5])
_LIQUID_AT_FAILURE = np.array([0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.15, 0.10, 0.08, 0.06, 0.05, 0.04])


def _carried_table() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the table in logarithms, its end segments carried on (to all liquid below, to no liquid above)."""
    star, liquid = np.log(_NIYAMA_STAR), np.log(_LIQUID_AT_FAILURE)
    first = (star[1] - star[0]) / (liquid[1] - liquid[0])
    last = (star[-1] - star[-2]) / (liquid[-1] - liquid[-2])
    star = np.concatenate([[star[0] - first * liquid[0]], star, [star[-1] + last * (np.log(1e-6) - liquid[-1])]])
    return star, np.concatenate([[0.0], liquid, [np.log(1e-6)]])


_LOG_STAR, _LOG_LIQUID = _carried_table()


@relation(
    id="niyama",
    title="Niyama value",
    source="Niyama et al. 1982: gradient over root of cooling rate near the end of freezing",
    provenance="memory",
    band=EXACT,
)
def niyama(temperature_gradient_k_mm: ArrayLike, cooling_rate_k_s: ArrayLike) -> NDArray[np.float64]:
    """Return the Niyama value G/sqrt(R).

    Parameters
    ----------
    temperature_gradient_k_mm : array_like
        Temperature gradient along the feeding path, near the end of freezing [K/mm].
    cooling_rate_k_s : array_like
        Cooling rate there [K/s].

    Returns
    -------
    array
        Niyama value [(K s)^0.5/mm].

    Notes
    -----
    Through a thin wall it falls to 0 at the mid-plane by symmetry and means nothing there: take the gradient in the
    plane of the wall, along the way the metal is fed.
    """
    return np.asarray(temperature_gradient_k_mm, dtype=float) / np.sqrt(np.asarray(cooling_rate_k_s, dtype=float))


@relation(
    id="niyama-from-times",
    title="Niyama value from a field of freezing times",
    source="identity: gradient = cooling rate times gradient of the time at which the temperature is passed",
    provenance="derived",
    band=EXACT,
)
def niyama_from_times(cooling_rate_k_s: ArrayLike, time_gradient_s_mm: ArrayLike) -> NDArray[np.float64]:
    """Return the Niyama value sqrt(R) |grad t|.

    Parameters
    ----------
    cooling_rate_k_s : array_like
        Cooling rate near the end of freezing [K/s].
    time_gradient_s_mm : array_like
        Change of the freezing time along the feeding path, either sign [s/mm].

    Returns
    -------
    array
        Niyama value [(K s)^0.5/mm].
    """
    return np.sqrt(np.asarray(cooling_rate_k_s, dtype=float)) * np.abs(np.asarray(time_gradient_s_mm, dtype=float))


@relation(
    id="niyama-from-minutes-centimetres",
    title="Niyama value of steel literature in castq's unit",
    source="60 s in a minute, 10 mm in a centimetre",
    provenance="derived",
    band=EXACT,
)
def niyama_from_minutes(niyama_k_min_cm: ArrayLike) -> NDArray[np.float64]:
    """Return a Niyama value given in minutes and centimetres.

    Parameters
    ----------
    niyama_k_min_cm : array_like
        Niyama value [(K min)^0.5/cm].

    Returns
    -------
    array
        Niyama value [(K s)^0.5/mm].

    Notes
    -----
    The threshold of steel, 1 (K min)^0.5/cm, is 0.775 here and does not hold for aluminium.
    """
    return np.asarray(niyama_k_min_cm, dtype=float) * (np.sqrt(60.0) / 10.0)


@relation(
    id="niyama-rank",
    title="Rank of a Niyama value",
    source="aluminium 0.25 to 0.3 (K s)^0.5/mm remembered, alarm at half: common practice, no primary source",
    provenance="practice",
    band=Band("relative", 0.3, "thresholds depend on alloy, scale and shape"),
    closure=True,
)
def niyama_rank(niyama_value: ArrayLike) -> NDArray[np.float64]:
    """Return 0 where nothing is to be said, 1 below 0.30 (look), 2 below 0.15 (look first).

    Parameters
    ----------
    niyama_value : array_like
        Niyama value along the feeding path [(K s)^0.5/mm].

    Returns
    -------
    array
        Rank 0, 1 or 2; NaN stays NaN [-].

    Notes
    -----
    To rank zones, never to pass or fail one on it alone.
    """
    value = np.asarray(niyama_value, dtype=float)
    rank = (value < NIYAMA_WARN).astype(float) + (value < NIYAMA_ALARM)
    return np.where(np.isnan(value), np.nan, rank)


@relation(
    id="dimensionless-niyama",
    title="Dimensionless Niyama value",
    source="Carlson and Beckermann 2009, Metallurgical and Materials Transactions A 40:163 (formula from a secondary "
    "text, their constants for A356 not seen)",
    provenance="read",
    band=Band("relative", 0.25, "viscosity and arm spacing"),
    valid={
        "sdas_um": (10.0, 100.0),
        "pressure_drop_atm": (0.5, 4.0),
        "shrinkage_pct": (3.5, 7.0),
        "freezing_range_k": (10.0, 70.0),
        "viscosity_pa_s": (0.001, 0.0016),
    },
)
def dimensionless_niyama(
    niyama_value: ArrayLike,
    sdas_um: ArrayLike,
    pressure_drop_atm: ArrayLike = 1.0,
    shrinkage_pct: ArrayLike = 5.27,
    freezing_range_k: ArrayLike = 58.0,
    viscosity_pa_s: ArrayLike = 0.0013,
) -> NDArray[np.float64]:
    """Return the dimensionless Niyama value Ny SDAS sqrt(dp/(viscosity shrinkage range)).

    Parameters
    ----------
    niyama_value : array_like
        Niyama value along the feeding path [(K s)^0.5/mm].
    sdas_um : array_like
        Secondary dendrite arm spacing [um].
    pressure_drop_atm : array_like
        Pressure of the metal that can drive feeding: absolute, less that at which a pore opens [atm].
    shrinkage_pct : array_like
        Solidification shrinkage [%].
    freezing_range_k : array_like
        Liquidus less end of freezing [K].
    viscosity_pa_s : array_like
        Viscosity of the liquid [Pa s].

    Returns
    -------
    array
        Dimensionless Niyama value [-].
    """
    drive = np.asarray(pressure_drop_atm, dtype=float) * (ATMOSPHERE_PA * 100.0)
    resistance = np.asarray(viscosity_pa_s, dtype=float) * np.asarray(shrinkage_pct, dtype=float)
    resistance = resistance * np.asarray(freezing_range_k, dtype=float)
    spacing = np.asarray(sdas_um, dtype=float) * 1e-3
    return np.asarray(niyama_value, dtype=float) * spacing * np.sqrt(drive / resistance)


@relation(
    id="niyama-shrinkage",
    title="Shrinkage porosity from the dimensionless Niyama value",
    source="Carlson and Beckermann 2009, Metallurgical and Materials Transactions A 40:163; table for Al-7Si-0.3Mg "
    "computed from a Scheil curve of the COST 507 database",
    provenance="derived",
    band=Band("factor", 1.5, "Scheil curve and viscosity"),
    valid={"dimensionless_niyama": (0.24, np.inf), "shrinkage_pct": (3.5, 7.0)},
)
def niyama_shrinkage(dimensionless_niyama: ArrayLike, shrinkage_pct: ArrayLike = 5.27) -> NDArray[np.float64]:
    """Return the shrinkage porosity of a dimensionless Niyama value.

    Parameters
    ----------
    dimensionless_niyama : array_like
        Dimensionless Niyama value [-].
    shrinkage_pct : array_like
        Solidification shrinkage [%].

    Returns
    -------
    array
        Shrinkage porosity [%]; NaN where the Niyama value is NaN.

    Notes
    -----
    Shrinkage times the liquid fraction at which feeding fails, a table read on logarithms. Above 107 feeding fails
    inside the last eutectic, where the criterion is blind; the end segment is carried on so that the result stays
    monotone, below 0.19 %. Other magnesium or silicon contents shift that end.
    """
    with np.errstate(divide="ignore"):
        star = np.log(np.asarray(dimensionless_niyama, dtype=float))
    return np.asarray(shrinkage_pct, dtype=float) * np.exp(np.interp(star, _LOG_STAR, _LOG_LIQUID))


@relation(
    id="lcc",
    title="Feeding resistance number of long-freezing aluminium (LCC)",
    source="Lee, Chang and Chieu 1990, Metallurgical Transactions B 21:715, on Al-7Si-0.3Mg plates",
    provenance="memory",
    band=EXACT,
)
def lcc(
    temperature_gradient_k_mm: ArrayLike, solid_time_s: ArrayLike, front_speed_mm_s: ArrayLike
) -> NDArray[np.float64]:
    """Return the criterion G ts^(2/3)/Vs.

    Parameters
    ----------
    temperature_gradient_k_mm : array_like
        Temperature gradient along the feeding path [K/mm].
    solid_time_s : array_like
        Local solidification time [s].
    front_speed_mm_s : array_like
        Speed of the end of freezing [mm/s].

    Returns
    -------
    array
        Criterion [K s^(5/3)/mm2].

    Notes
    -----
    Remembered threshold 1 K min^(5/3)/cm2, which is 9.20 here: porosity is likely below it.
    """
    time = np.cbrt(np.square(np.asarray(solid_time_s, dtype=float)))
    return np.asarray(temperature_gradient_k_mm, dtype=float) * time / np.asarray(front_speed_mm_s, dtype=float)

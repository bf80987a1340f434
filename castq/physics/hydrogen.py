"""Hydrogen in aluminium: solubility, alloy factor, Sieverts' law.

Hydrogen is in ml (273.15 K, 1 atm) of H2 per 100 g of metal, partial pressures are in atm. Solubilities are those
at 1 atm; `sieverts_hydrogen` carries them to another pressure.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.quantities import PPM_PER_ML_100G
from castq.core.relation import EXACT, Band, relation

ZERO_C_K = 273.15
_LN10 = math.log(10.0)


# Slope [K] and intercept of log10 S = slope/T + intercept; two lines are carried to the eutectic elsewhere.
TALBOT_ANYALEBECHI = (-2700.0, 2.720)
RANSLEY_NEUFELD_SOLID = (-2080.0, 0.788)


def solubility_line(temp_c: ArrayLike, line: tuple[float, float]) -> NDArray[np.float64]:
    """Return the solubility of a line log10 S = slope/T + intercept, with no range of validity of its own.

    Parameters
    ----------
    temp_c : array_like
        Metal temperature [degC].
    line : tuple of float
        Slope [K] and intercept [-].

    Returns
    -------
    array
        Solubility at 1 atm [ml/100g].
    """
    kelvin = np.asarray(temp_c, dtype=float) + ZERO_C_K
    return np.exp((_LN10 * line[0]) / kelvin + _LN10 * line[1])


@relation(
    id="hydrogen-liquid-talbot-anyalebechi",
    title="Hydrogen solubility of liquid aluminium, recommended values",
    source="Talbot and Anyalebechi 1988, Materials Science and Technology 4:1-4",
    provenance="read",
    band=Band("relative", 0.08, "low end of the Sieverts-method data: +15/-5 %"),
    valid={"temp_c": (669.85, 849.85)},
)
def solubility_talbot_anyalebechi(temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the hydrogen solubility of pure liquid aluminium at 1 atm (the default).

    Parameters
    ----------
    temp_c : array_like
        Melt temperature [degC].

    Returns
    -------
    array
        Solubility at 1 atm [ml/100g].

    Notes
    -----
    log10 S = 2.720 - 2700/T. Other Sieverts-method sets lie up to 15 % higher at 700 degC.
    """
    return solubility_line(temp_c, TALBOT_ANYALEBECHI)


@relation(
    id="hydrogen-liquid-ransley-neufeld",
    title="Hydrogen solubility of liquid aluminium, classical values",
    source="Ransley and Neufeld 1948, Journal of the Institute of Metals 74:599",
    provenance="memory",
    band=Band("relative", 0.08, "spread of Sieverts-method data"),
    valid={"temp_c": (660.0, 850.0)},
)
def solubility_ransley_neufeld(temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the hydrogen solubility of pure liquid aluminium at 1 atm.

    Parameters
    ----------
    temp_c : array_like
        Melt temperature [degC].

    Returns
    -------
    array
        Solubility at 1 atm [ml/100g].

    Notes
    -----
    log10 S = 2.796 - 2760/T. The same line is often printed for pressure in mmHg, with 1.356 for 2.796.
    """
    return solubility_line(temp_c, (-2760.0, 2.796))


@relation(
    id="hydrogen-liquid-opie-grant",
    title="Hydrogen solubility of liquid aluminium, Opie and Grant",
    source="Opie and Grant 1950, Transactions AIME 188:1237",
    provenance="memory",
    band=Band("relative", 0.10, "spread of Sieverts-method data"),
    valid={"temp_c": (660.0, 850.0)},
)
def solubility_opie_grant(temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the hydrogen solubility of pure liquid aluminium at 1 atm.

    Parameters
    ----------
    temp_c : array_like
        Melt temperature [degC].

    Returns
    -------
    array
        Solubility at 1 atm [ml/100g].

    Notes
    -----
    log10 S = 2.62 - 2550/T; at the high end of the Sieverts-method data.
    """
    return solubility_line(temp_c, (-2550.0, 2.62))


@relation(
    id="hydrogen-liquid-liu",
    title="Hydrogen solubility of liquid aluminium, Sieverts method against argon",
    source="'An experimental study of hydrogen solubility in liquid aluminium', Journal of Materials Science 1995 "
    "(authors remembered as Liu and Bouchard)",
    provenance="read",
    band=Band("relative", 0.10, "spread of Sieverts-method data"),
    valid={"temp_c": (699.85, 849.85)},
)
def solubility_liu(temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the hydrogen solubility of pure liquid aluminium at 1 atm.

    Parameters
    ----------
    temp_c : array_like
        Melt temperature [degC].

    Returns
    -------
    array
        Solubility at 1 atm [ml/100g].

    Notes
    -----
    log10 S = 3.070 - 2980/T, the highest of the Sieverts-method sets.
    """
    return solubility_line(temp_c, (-2980.0, 3.070))


@relation(
    id="hydrogen-liquid-quench-method",
    title="Hydrogen solubility of liquid aluminium, rapid quench method",
    source="Journal of Japan Institute of Light Metals 45(5):278 (rapid quench of saturated melts)",
    provenance="read",
    band=Band("relative", 0.20, "some 30 % below Sieverts-method data"),
    valid={"temp_c": (699.85, 799.85)},
)
def solubility_quench_method(temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the hydrogen solubility of pure liquid aluminium at 1 atm.

    Parameters
    ----------
    temp_c : array_like
        Melt temperature [degC].

    Returns
    -------
    array
        Solubility at 1 atm [ml/100g].

    Notes
    -----
    Printed as log10 S = 3.256 - 2392/T in cm3 per kilogram, hence 2.256 for 100 g. Its authors call it considerably
    lower than Sieverts-method data; kept to show the spread between methods.
    """
    return solubility_line(temp_c, (-2392.0, 2.256))


@relation(
    id="hydrogen-solid-ransley-neufeld",
    title="Hydrogen solubility of solid aluminium",
    source="Ransley and Neufeld 1948, Journal of the Institute of Metals 74:599",
    provenance="memory",
    band=Band("relative", 0.15, "one set, two routes to it agree within 2 %"),
    valid={"temp_c": (449.85, 660.3)},
)
def solubility_solid(temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the hydrogen solubility of pure solid aluminium at 1 atm.

    Parameters
    ----------
    temp_c : array_like
        Metal temperature [degC].

    Returns
    -------
    array
        Solubility at 1 atm [ml/100g].

    Notes
    -----
    log10 S = 0.788 - 2080/T. Collections that store this set in mol m^-3 Pa^-1/2 mean mol of H2; read as mol of H the
    value is wrong by a factor 2.
    """
    return solubility_line(temp_c, RANSLEY_NEUFELD_SOLID)


@relation(
    id="hydrogen-alloy-factor",
    title="Solubility of an alloy melt over that of pure aluminium",
    source="interaction coefficients of the Sigworth and Engh 1982 / Poirier set, which follow the Al-Si data of "
    "Opie and Grant",
    provenance="memory",
    band=Band("relative", 0.10, "AlSi7Mg: 0.65 to 0.84 between sets"),
    valid={"silicon_wt_pct": (0.0, 13.0), "copper_wt_pct": (0.0, 6.0), "magnesium_wt_pct": (0.0, 1.0)},
)
def alloy_factor(
    silicon_wt_pct: ArrayLike, copper_wt_pct: ArrayLike = 0.0, magnesium_wt_pct: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Return the factor that turns the solubility of pure liquid aluminium into that of the alloy (the default).

    Parameters
    ----------
    silicon_wt_pct : array_like
        Silicon [wt%].
    copper_wt_pct : array_like
        Copper [wt%].
    magnesium_wt_pct : array_like
        Magnesium [wt%].

    Returns
    -------
    array
        Factor [-].

    Notes
    -----
    -log10 factor = 0.03 Si - 0.0008 Si^2 + 0.03 Cu - 0.0004 Cu^2 - 0.01 Mg. A hydrogen probe shows what its maker's own
    factor makes of the partial pressure it measures: use the factor of the probe with its readings.
    """
    silicon, copper, magnesium = (np.asarray(x, dtype=float) for x in (silicon_wt_pct, copper_wt_pct, magnesium_wt_pct))
    log_activity = silicon * (0.03 - 0.0008 * silicon) + copper * (0.03 - 0.0004 * copper) - 0.01 * magnesium
    return np.exp(-_LN10 * log_activity)


@relation(
    id="hydrogen-alloy-factor-probe",
    title="Solubility of an alloy melt over that of pure aluminium, immersion-probe formula",
    source="formula used with closed-loop immersion probes in the 1990s",
    provenance="memory",
    band=Band("relative", 0.15, "lies 23 to 27 % above the default set for Al-Si wheel alloys"),
    valid={"silicon_wt_pct": (0.0, 13.0), "copper_wt_pct": (0.0, 6.0), "magnesium_wt_pct": (0.0, 6.0)},
)
def alloy_factor_probe(
    silicon_wt_pct: ArrayLike, copper_wt_pct: ArrayLike = 0.0, magnesium_wt_pct: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Return the alloy factor of the immersion-probe formula (the alternative).

    Parameters
    ----------
    silicon_wt_pct : array_like
        Silicon [wt%].
    copper_wt_pct : array_like
        Copper [wt%].
    magnesium_wt_pct : array_like
        Magnesium [wt%].

    Returns
    -------
    array
        Factor [-].

    Notes
    -----
    factor = 10^(0.0170 Mg - 0.0269 Cu - 0.0119 Si).
    """
    silicon, copper, magnesium = (np.asarray(x, dtype=float) for x in (silicon_wt_pct, copper_wt_pct, magnesium_wt_pct))
    return np.exp(_LN10 * (0.0170 * magnesium - 0.0269 * copper - 0.0119 * silicon))


@relation(
    id="sieverts-hydrogen",
    title="Dissolved hydrogen in balance with a hydrogen pressure (Sieverts' law)",
    source="Sieverts' law of diatomic gases in metals",
    provenance="derived",
    band=EXACT,
    valid={"hydrogen_pressure_atm": (0.0, 10.0)},
)
def sieverts_hydrogen(solubility_ml_100g: ArrayLike, hydrogen_pressure_atm: ArrayLike) -> NDArray[np.float64]:
    """Return the hydrogen dissolved at a hydrogen partial pressure.

    Parameters
    ----------
    solubility_ml_100g : array_like
        Solubility at 1 atm [ml/100g].
    hydrogen_pressure_atm : array_like
        Partial pressure of hydrogen [atm].

    Returns
    -------
    array
        Dissolved hydrogen [ml/100g].
    """
    return np.asarray(solubility_ml_100g, dtype=float) * np.sqrt(np.asarray(hydrogen_pressure_atm, dtype=float))


@relation(
    id="sieverts-pressure",
    title="Hydrogen pressure in balance with dissolved hydrogen (Sieverts' law)",
    source="Sieverts' law of diatomic gases in metals",
    provenance="derived",
    band=EXACT,
)
def sieverts_pressure(hydrogen_ml_100g: ArrayLike, solubility_ml_100g: ArrayLike) -> NDArray[np.float64]:
    """Return the hydrogen pressure that dissolved hydrogen exerts on a pore.

    Parameters
    ----------
    hydrogen_ml_100g : array_like
        Dissolved hydrogen [ml/100g].
    solubility_ml_100g : array_like
        Solubility at 1 atm [ml/100g].

    Returns
    -------
    array
        Hydrogen pressure [atm].
    """
    return np.square(np.asarray(hydrogen_ml_100g, dtype=float) / np.asarray(solubility_ml_100g, dtype=float))


@relation(
    id="hydrogen-ppm",
    title="Hydrogen by mass from hydrogen by gas volume",
    source="molar mass of H2 2.01588 g/mol over the molar volume of a gas at 273.15 K and 1 atm, 22413.97 ml/mol",
    provenance="derived",
    band=EXACT,
)
def hydrogen_ppm(hydrogen_ml_100g: ArrayLike) -> NDArray[np.float64]:
    """Return hydrogen in parts per million by mass.

    Parameters
    ----------
    hydrogen_ml_100g : array_like
        Dissolved hydrogen [ml/100g].

    Returns
    -------
    array
        Dissolved hydrogen [ppm].
    """
    return np.asarray(hydrogen_ml_100g, dtype=float) * PPM_PER_ML_100G

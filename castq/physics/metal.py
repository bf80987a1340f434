"""The freezing metal: liquidus, fraction solid, eutectic, shrinkage and heat of Al-Si-Mg alloys."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, Band, relation

MELTING_POINT_AL_C = 660.4
EUTECTIC_SI_WT_PCT = 12.6
PARTITION_COEFFICIENT = 0.13
LIQUIDUS_SLOPE_K = -6.6
END_OF_FREEZING_C = 557.8


def _array(value: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(value, dtype=float)


@relation(
    id="liquidus-al-si-mg",
    title="Liquidus of hypoeutectic Al-Si-Mg",
    source="least-squares fit to liquidus temperatures calculated with COST507 (Ansara, Dinsdale, Rand 1998), "
    "residual below 0.1 K without and 0.3 K with magnesium",
    provenance="derived",
    band=Band("absolute", 2.0, "K", "spread of handbook values"),
    valid={"silicon_wt_pct": (5.0, 12.0), "magnesium_wt_pct": (0.0, 0.7)},
)
def liquidus_temperature(silicon_wt_pct: ArrayLike, magnesium_wt_pct: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Return the liquidus temperature.

    Parameters
    ----------
    silicon_wt_pct : array_like
        Silicon content [wt%].
    magnesium_wt_pct : array_like
        Magnesium content [wt%].

    Returns
    -------
    array
        Liquidus temperature [degC].

    Notes
    -----
    A straight line of -6.6 K/wt% from pure aluminium lies 2.8 K lower at 7 wt% silicon.
    """
    si = _array(silicon_wt_pct)
    return np.asarray(660.45 - 5.753 * si - 0.0670 * si**2 - 4.0 * _array(magnesium_wt_pct))


@relation(
    id="freezing-range-al-si-mg",
    title="Freezing range, liquidus to the ternary eutectic",
    source="liquidus fit and (Al)+Si+Mg2Si eutectic calculated with COST507 (Ansara, Dinsdale, Rand 1998)",
    provenance="derived",
    band=Band("absolute", 5.0, "K", "undercooling of the last eutectic"),
    valid={"silicon_wt_pct": (5.0, 12.0), "magnesium_wt_pct": (0.1, 0.7)},
)
def freezing_range(
    silicon_wt_pct: ArrayLike, magnesium_wt_pct: ArrayLike = 0.3, end_of_freezing_c: ArrayLike = END_OF_FREEZING_C
) -> NDArray[np.float64]:
    """Return the freezing range that turns a local solidification time into a mean cooling rate.

    Parameters
    ----------
    silicon_wt_pct : array_like
        Silicon content [wt%].
    magnesium_wt_pct : array_like
        Magnesium content [wt%].
    end_of_freezing_c : array_like
        End of freezing [degC].

    Returns
    -------
    array
        Freezing range [K].

    Notes
    -----
    Without magnesium freezing ends at the binary eutectic, 576.9 degC, instead.
    """
    return np.asarray(liquidus_temperature(silicon_wt_pct, magnesium_wt_pct) - _array(end_of_freezing_c))


@relation(
    id="fraction-solid-scheil",
    title="Fraction of primary aluminium by the Gulliver-Scheil equation",
    source="Scheil, Z. Metallkd. 34 (1942) 70; partition coefficient 0.13, liquidus slope -6.6 K/wt%",
    provenance="memory",
    band=Band("absolute", 0.03, "-", "against a calculation with COST507"),
    valid={"temp_c": (576.9, 660.4), "silicon_wt_pct": (1.65, 12.6)},
)
def scheil_fraction_solid(
    temp_c: ArrayLike,
    silicon_wt_pct: ArrayLike,
    partition_coefficient: ArrayLike = PARTITION_COEFFICIENT,
    liquidus_slope_k: ArrayLike = LIQUIDUS_SLOPE_K,
) -> NDArray[np.float64]:
    """Return the fraction of primary aluminium in binary Al-Si, no diffusion in the solid.

    Parameters
    ----------
    temp_c : array_like
        Temperature [degC].
    silicon_wt_pct : array_like
        Silicon content [wt%].
    partition_coefficient : array_like
        Silicon in the solid over silicon in the liquid [-].
    liquidus_slope_k : array_like
        Slope of the liquidus for each wt% of silicon [K].

    Returns
    -------
    array
        Fraction solid, 0 above the liquidus [-].

    Notes
    -----
    Holds down to the eutectic; below it the liquid left over freezes as eutectic. The straight liquidus starts at
    the melting point of aluminium, 660.4 degC.
    """
    undercooling_k = MELTING_POINT_AL_C - _array(temp_c)
    at_liquidus_k = -_array(liquidus_slope_k) * _array(silicon_wt_pct)
    ratio = np.maximum(undercooling_k / at_liquidus_k, 1.0)
    return np.asarray(1.0 - ratio ** (1.0 / (_array(partition_coefficient) - 1.0)))


@relation(
    id="eutectic-fraction-scheil",
    title="Eutectic fraction by the Gulliver-Scheil equation",
    source="Scheil, Z. Metallkd. 34 (1942) 70; eutectic at 12.6 wt% silicon, partition coefficient 0.13",
    provenance="memory",
    band=Band("absolute", 0.02, "-", "against the lever rule, the other bound"),
    valid={"silicon_wt_pct": (1.65, 12.6)},
)
def eutectic_fraction_scheil(silicon_wt_pct: ArrayLike) -> NDArray[np.float64]:
    """Return the share of liquid left at the eutectic, no diffusion in the solid.

    Parameters
    ----------
    silicon_wt_pct : array_like
        Silicon content [wt%].

    Returns
    -------
    array
        Eutectic fraction [-].
    """
    return np.asarray((_array(silicon_wt_pct) / EUTECTIC_SI_WT_PCT) ** (1.0 / (1.0 - PARTITION_COEFFICIENT)))


@relation(
    id="eutectic-fraction-lever",
    title="Eutectic fraction by the lever rule",
    source="lever rule on binary Al-Si: eutectic at 12.6 wt% silicon, partition coefficient 0.13",
    provenance="memory",
    band=Band("absolute", 0.02, "-", "against the Gulliver-Scheil equation, the other bound"),
    valid={"silicon_wt_pct": (1.65, 12.6)},
)
def eutectic_fraction_lever(silicon_wt_pct: ArrayLike) -> NDArray[np.float64]:
    """Return the share of liquid left at the eutectic, full diffusion in the solid.

    Parameters
    ----------
    silicon_wt_pct : array_like
        Silicon content [wt%].

    Returns
    -------
    array
        Eutectic fraction [-].
    """
    solid_limit = PARTITION_COEFFICIENT * EUTECTIC_SI_WT_PCT
    return np.asarray((_array(silicon_wt_pct) - solid_limit) / (EUTECTIC_SI_WT_PCT - solid_limit))


@relation(
    id="solidification-shrinkage-al-si",
    title="Solidification shrinkage of Al-Si",
    source="line between measured pure Al and Al-11.6Si: Magnusson and Arnberg, Metall. Mater. Trans. A 32 (2001) 2605",
    provenance="derived",
    band=Band("absolute", 0.3, "%", "straight line between two measured ends"),
    valid={"silicon_wt_pct": (0.0, 12.6)},
)
def solidification_shrinkage(silicon_wt_pct: ArrayLike) -> NDArray[np.float64]:
    """Return the volume shrinkage on freezing, relative to the solid.

    Parameters
    ----------
    silicon_wt_pct : array_like
        Silicon content [wt%].

    Returns
    -------
    array
        Solidification shrinkage [%].
    """
    return np.asarray(6.6 - 0.19 * _array(silicon_wt_pct))


@relation(
    id="latent-heat-al-si",
    title="Latent heat of the freezing range of Al-Si-Mg",
    source="between enthalpies calculated with COST507 (Ansara, Dinsdale, Rand 1998) and Mills, Recommended values of "
    "thermophysical properties, 2002",
    provenance="derived",
    band=Band("relative", 0.04, note="spread of calculated and remembered values; one data sheet gives 10 % less"),
    valid={"silicon_wt_pct": (6.5, 12.0)},
)
def latent_heat(silicon_wt_pct: ArrayLike) -> NDArray[np.float64]:
    """Return the latent heat of the whole freezing range.

    Parameters
    ----------
    silicon_wt_pct : array_like
        Silicon content [wt%].

    Returns
    -------
    array
        Latent heat [kJ/kg].
    """
    return np.asarray(430.0 + 11.0 * (_array(silicon_wt_pct) - 7.0))


@relation(
    id="heat-to-freeze",
    title="Heat given up from pouring to the end of freezing",
    source="energy balance: superheat of the liquid, latent heat, mean heat capacity over the freezing range",
    provenance="derived",
    band=Band("relative", 0.04, note="that of the latent heat"),
    valid={"melt_temp_c": (600.0, 800.0), "latent_heat_kj_kg": (380.0, 520.0)},
)
def heat_to_freeze(
    melt_temp_c: ArrayLike,
    liquidus_c: ArrayLike,
    end_of_freezing_c: ArrayLike,
    latent_heat_kj_kg: ArrayLike,
    *,
    cp_liquid_j_kgk: ArrayLike = 1150.0,
    cp_solid_j_kgk: ArrayLike = 1100.0,
) -> NDArray[np.float64]:
    """Return the heat that the die must take up until the casting is solid.

    Parameters
    ----------
    melt_temp_c : array_like
        Pouring temperature, at or above the liquidus [degC].
    liquidus_c : array_like
        Liquidus temperature [degC].
    end_of_freezing_c : array_like
        End of freezing [degC].
    latent_heat_kj_kg : array_like
        Latent heat [kJ/kg].
    cp_liquid_j_kgk : array_like
        Heat capacity of the liquid [J/kgK].
    cp_solid_j_kgk : array_like
        Heat capacity of the solid [J/kgK].

    Returns
    -------
    array
        Heat [kJ/kg].
    """
    liquid, solid, liquidus = _array(cp_liquid_j_kgk), _array(cp_solid_j_kgk), _array(liquidus_c)
    superheat = liquid * (_array(melt_temp_c) - liquidus)
    mushy = 0.5 * (liquid + solid) * (liquidus - _array(end_of_freezing_c))
    return np.asarray(_array(latent_heat_kj_kg) + (superheat + mushy) / 1000.0)


@relation(
    id="conductivity-mushy",
    title="Conductivity of the mushy metal",
    source="rule of mixtures by fraction solid",
    provenance="practice",
    band=EXACT,
    valid={"fraction_solid": (0.0, 1.0)},
)
def mushy_conductivity(
    fraction_solid: ArrayLike, k_solid_w_mk: ArrayLike = 150.0, k_liquid_w_mk: ArrayLike = 65.0
) -> NDArray[np.float64]:
    """Return the heat conductivity between liquidus and end of freezing.

    Parameters
    ----------
    fraction_solid : array_like
        Fraction solid [-].
    k_solid_w_mk : array_like
        Conductivity of the solid [W/mK].
    k_liquid_w_mk : array_like
        Conductivity of the liquid [W/mK].

    Returns
    -------
    array
        Conductivity [W/mK].
    """
    solid = _array(fraction_solid)
    return np.asarray(solid * _array(k_solid_w_mk) + (1.0 - solid) * _array(k_liquid_w_mk))

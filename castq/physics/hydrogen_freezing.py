"""Hydrogen while the metal freezes: diffusion, enrichment of the last liquid, and the hydrogen that opens a pore."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, Band, relation
from castq.physics.hydrogen import (
    RANSLEY_NEUFELD_SOLID,
    TALBOT_ANYALEBECHI,
    ZERO_C_K,
    alloy_factor,
    solubility_line,
)

GAS_CONSTANT_J_MOLK = 8.314462618
CALORIE_J = 4.184

# The liquid that freezes last, up to the Mg2Si eutectic, is near the binary Al-Si eutectic whatever the alloy.
EUTECTIC_TEMP_C = 577.0
EUTECTIC_SILICON_WT_PCT = 12.6
EUTECTIC_MAGNESIUM_WT_PCT = 0.35

EUTECTIC_ALLOY_FACTOR = float(alloy_factor(EUTECTIC_SILICON_WT_PCT, 0.0, EUTECTIC_MAGNESIUM_WT_PCT))
SOLID_SOLUBILITY_ML_100G = float(solubility_line(EUTECTIC_TEMP_C, RANSLEY_NEUFELD_SOLID))
LIQUID_SOLUBILITY_ML_100G = float(solubility_line(EUTECTIC_TEMP_C, TALBOT_ANYALEBECHI)) * EUTECTIC_ALLOY_FACTOR


def _arrhenius(temp_c: ArrayLike, prefactor_m2_s: float, energy_j_mol: float) -> NDArray[np.float64]:
    """Return prefactor * exp(-energy/RT)."""
    kelvin = np.asarray(temp_c, dtype=float) + ZERO_C_K
    return prefactor_m2_s * np.exp((-energy_j_mol / GAS_CONSTANT_J_MOLK) / kelvin)


@relation(
    id="hydrogen-diffusivity-liquid-eichenauer",
    title="Diffusivity of hydrogen in liquid aluminium, Eichenauer and Markopoulos",
    source="Eichenauer and Markopoulos 1974",
    provenance="memory",
    band=Band("factor", 1.9, "sets differ by a factor 3.5"),
    valid={"temp_c": (660.0, 850.0)},
)
def diffusivity_liquid_eichenauer(temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the diffusivity of hydrogen in liquid aluminium (the default).

    Parameters
    ----------
    temp_c : array_like
        Melt temperature [degC].

    Returns
    -------
    array
        Diffusivity [m2/s].

    Notes
    -----
    3.8e-6 exp(-19250 J/RT).
    """
    return _arrhenius(temp_c, 3.8e-6, 19250.0)


@relation(
    id="hydrogen-diffusivity-liquid-vashchenko",
    title="Diffusivity of hydrogen in liquid aluminium, Vashchenko",
    source="Vashchenko et al. 1972",
    provenance="read",
    band=Band("factor", 1.9, "sets differ by a factor 3.5"),
    valid={"temp_c": (669.85, 899.85)},
)
def diffusivity_liquid_vashchenko(temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the diffusivity of hydrogen in liquid aluminium (the low set).

    Parameters
    ----------
    temp_c : array_like
        Melt temperature [degC].

    Returns
    -------
    array
        Diffusivity [m2/s].

    Notes
    -----
    2.34e-4 exp(-15.0 kcal/RT), printed with 2.34 cm2/s.
    """
    return _arrhenius(temp_c, 2.34e-4, 15000.0 * CALORIE_J)


@relation(
    id="hydrogen-diffusivity-solid-eichenauer",
    title="Diffusivity of hydrogen in solid aluminium, Eichenauer",
    source="Eichenauer, quoted in an online chemical encyclopedia",
    provenance="read",
    band=Band("factor", 1.8, "sets and re-frozen metal differ by a factor 3.3"),
    valid={"temp_c": (400.0, 630.0)},
)
def diffusivity_solid_eichenauer(temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the diffusivity of hydrogen in solid aluminium (the high set).

    Parameters
    ----------
    temp_c : array_like
        Metal temperature [degC].

    Returns
    -------
    array
        Diffusivity [m2/s].

    Notes
    -----
    0.11 cm2/s exp(-9780 cal/RT). The range stated is castq's, the source gives none.
    """
    return _arrhenius(temp_c, 0.11e-4, 9780.0 * CALORIE_J)


@relation(
    id="hydrogen-diffusivity-solid-ichimura",
    title="Diffusivity of hydrogen in solid aluminium of 99.99 %, Ichimura",
    source="Ichimura, Imabayashi and Hayakawa 1979, Nippon Kinzoku Gakkaishi 43(9):876-883, as quoted in a compilation",
    provenance="read",
    band=Band("factor", 1.8, "sets and re-frozen metal differ by a factor 3.3"),
    valid={"temp_c": (400.0, 630.0)},
)
def diffusivity_solid_ichimura(temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the diffusivity of hydrogen in solid aluminium of 99.99 %.

    Parameters
    ----------
    temp_c : array_like
        Metal temperature [degC].

    Returns
    -------
    array
        Diffusivity [m2/s].

    Notes
    -----
    4.58e-6 exp(-37.03 kJ/RT). The table printed beside the formula in a compilation lies 2.1 (625 degC) to 2.7 times
    (500 degC) lower; its abstract says that metal melted and frozen again gives less, most so when cold, and the table
    is taken to be of such metal. The range stated is castq's.
    """
    return _arrhenius(temp_c, 4.58e-6, 37030.0)


@relation(
    id="hydrogen-eutectic-partition",
    title="Hydrogen of the solid over hydrogen of the last liquid",
    source="solid solubility of Ransley and Neufeld 1948 over liquid solubility of Talbot and Anyalebechi 1988, "
    "carried below its range to the eutectic, times the alloy factor of the eutectic liquid",
    provenance="derived",
    band=Band("relative", 0.2, "solid 15 %, alloy factor 10 %"),
    valid={"temp_c": (550.0, 580.0), "liquid_alloy_factor": (0.5, 0.8)},
)
def partition_coefficient(
    temp_c: ArrayLike = EUTECTIC_TEMP_C, liquid_alloy_factor: ArrayLike = EUTECTIC_ALLOY_FACTOR
) -> NDArray[np.float64]:
    """Return the partition coefficient of hydrogen between solid and eutectic liquid.

    Parameters
    ----------
    temp_c : array_like
        Temperature of the last liquid [degC].
    liquid_alloy_factor : array_like
        Alloy factor of the last liquid [-].

    Returns
    -------
    array
        Partition coefficient [-].
    """
    liquid = solubility_line(temp_c, TALBOT_ANYALEBECHI) * np.asarray(liquid_alloy_factor, dtype=float)
    return solubility_line(temp_c, RANSLEY_NEUFELD_SOLID) / liquid


PARTITION_COEFFICIENT = SOLID_SOLUBILITY_ML_100G / LIQUID_SOLUBILITY_ML_100G


@relation(
    id="hydrogen-lever-rule",
    title="Hydrogen of the remaining liquid, lever rule",
    source="hydrogen balance with full diffusion in solid and liquid",
    provenance="derived",
    band=EXACT,
    valid={"fraction_solid": (0.0, 1.0)},
)
def lever_liquid_hydrogen(
    hydrogen_ml_100g: ArrayLike, fraction_solid: ArrayLike, partition: ArrayLike = PARTITION_COEFFICIENT
) -> NDArray[np.float64]:
    """Return the hydrogen of the remaining liquid when hydrogen diffuses freely in both phases (the default).

    Parameters
    ----------
    hydrogen_ml_100g : array_like
        Hydrogen of the melt as poured [ml/100g].
    fraction_solid : array_like
        Fraction solid [-].
    partition : array_like
        Partition coefficient [-].

    Returns
    -------
    array
        Hydrogen of the liquid [ml/100g].
    """
    solid = np.asarray(fraction_solid, dtype=float)
    return np.asarray(hydrogen_ml_100g, dtype=float) / (1.0 - solid * (1.0 - np.asarray(partition, dtype=float)))


@relation(
    id="hydrogen-no-back-diffusion",
    title="Hydrogen of the remaining liquid, none kept by the solid",
    source="hydrogen balance with the solid share of the lever rule left out",
    provenance="derived",
    band=EXACT,
    valid={"fraction_solid": (0.0, 0.99)},
)
def scheil_liquid_hydrogen(hydrogen_ml_100g: ArrayLike, fraction_solid: ArrayLike) -> NDArray[np.float64]:
    """Return the hydrogen of the remaining liquid when the solid keeps none.

    Parameters
    ----------
    hydrogen_ml_100g : array_like
        Hydrogen of the melt as poured [ml/100g].
    fraction_solid : array_like
        Fraction solid, below 1 [-].

    Returns
    -------
    array
        Hydrogen of the liquid [ml/100g].

    Notes
    -----
    An upper bound on enrichment: 2 % above the lever rule at 0.15 solid, 11 % at 0.5, twice at 0.9.
    """
    return np.asarray(hydrogen_ml_100g, dtype=float) / (1.0 - np.asarray(fraction_solid, dtype=float))


@relation(
    id="hydrogen-threshold",
    title="Hydrogen that opens a pore at a fraction solid",
    source="lever rule and Sieverts' law at the Al-Si eutectic, no capillarity",
    provenance="derived",
    band=Band("relative", 0.12, "0.10 to 0.14 at half solid and 1 atm"),
    valid={"fraction_solid": (0.5, 0.95), "pressure_atm": (0.5, 5.0)},
)
def threshold_hydrogen(
    fraction_solid: ArrayLike,
    pressure_atm: ArrayLike = 1.0,
    liquid_solubility_ml_100g: ArrayLike = LIQUID_SOLUBILITY_ML_100G,
) -> NDArray[np.float64]:
    """Return the lowest hydrogen of the melt with which a pore can open at a fraction solid.

    Parameters
    ----------
    fraction_solid : array_like
        Fraction solid at which the pore would open [-].
    pressure_atm : array_like
        Pressure that the gas must overcome, absolute [atm].
    liquid_solubility_ml_100g : array_like
        Solubility of the last liquid at 1 atm [ml/100g].

    Returns
    -------
    array
        Threshold hydrogen [ml/100g].

    Notes
    -----
    S_L sqrt(p) [(1 - fs) + k fs], with k S_L the solid solubility. Below the value at half solid (0.110 at 1 atm) gas
    cannot open pores while liquid still feeds freely, which is why wheel melts are held at 0.10 to 0.12.
    """
    solid = np.asarray(fraction_solid, dtype=float)
    capacity = (1.0 - solid) * np.asarray(liquid_solubility_ml_100g, dtype=float) + solid * SOLID_SOLUBILITY_ML_100G
    return capacity * np.sqrt(np.asarray(pressure_atm, dtype=float))

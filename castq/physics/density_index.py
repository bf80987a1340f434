"""Reduced-pressure test: densities by weighing, density index, its bound, and its hydrogen-equivalent."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, Band, relation
from castq.physics.porosity import BAR_PER_ATM, gas_porosity_bound

MBAR_PER_ATM = 1000.0 * BAR_PER_ATM
STANDARD_PRESSURE_MBAR = 80.0
# The closure DI = scale (H - onset)^power at 80 mbar.
_SCALE_PCT = 140.0
_ONSET_ML_100G = 0.05
_POWER = 1.7
_CLOSURE_SOURCE = (
    "form chosen to meet the anchors 1 to 2 % at 0.10, 6 to 9 % at 0.20 and 12 to 16 % at 0.30 ml/100g, AlSi7Mg to "
    "AlSi11, 80 mbar, ordinary cleanliness: common practice, no source"
)


@relation(
    id="water-density",
    title="Density of water at 1 atm",
    source="Kell 1975, Journal of Chemical and Engineering Data 20(1):97-105",
    provenance="memory",
    band=Band("relative", 1e-5, "against tables"),
    valid={"water_temp_c": (0.0, 100.0)},
)
def water_density(water_temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the density of air-free water.

    Parameters
    ----------
    water_temp_c : array_like
        Water temperature [degC].

    Returns
    -------
    array
        Density [g/cm3].
    """
    temp = np.asarray(water_temp_c, dtype=float)
    powers = (-280.54253e-12, 105.56302e-9, -46.170461e-6, -7.9870401e-3, 16.945176, 999.83952)
    return np.polyval(powers, temp) / (1.0 + 16.879850e-3 * temp) / 1000.0


@relation(
    id="sample-density",
    title="Density of a sample from its weights in air and in water",
    source="principle of Archimedes, buoyancy of the air counted",
    provenance="derived",
    band=Band("relative", 5e-4, "balance of 0.01 g, 80 g sample"),
    valid={"water_temp_c": (5.0, 40.0)},
)
def sample_density(
    air_g: ArrayLike, water_g: ArrayLike, water_temp_c: ArrayLike = 20.0, air_density_g_cm3: ArrayLike = 0.0012
) -> NDArray[np.float64]:
    """Return the density of a sample weighed in air and hanging in water.

    Parameters
    ----------
    air_g : array_like
        Reading of the balance in air [g].
    water_g : array_like
        Reading of the balance in water [g].
    water_temp_c : array_like
        Water temperature [degC].
    air_density_g_cm3 : array_like
        Density of the air [g/cm3].

    Returns
    -------
    array
        Density [g/cm3].

    Notes
    -----
    (m_air rho_water - m_water rho_air)/(m_air - m_water). The water temperature cancels in the density index when both
    samples of a pair hang in the same water.
    """
    in_air, in_water = np.asarray(air_g, dtype=float), np.asarray(water_g, dtype=float)
    air_density = np.asarray(air_density_g_cm3, dtype=float)
    return (in_air * water_density(water_temp_c) - in_water * air_density) / (in_air - in_water)


@relation(
    id="density-index",
    title="Density index of a reduced-pressure pair",
    source="foundry encyclopedia, entry 'Density index'; aluminium casting alloys handbook of a supplier, page 28",
    provenance="read",
    band=EXACT,
    valid={"in_air_g_cm3": (2.2, 2.9), "in_vacuum_g_cm3": (1.5, 2.9)},
)
def density_index(in_air_g_cm3: ArrayLike, in_vacuum_g_cm3: ArrayLike) -> NDArray[np.float64]:
    """Return the density index.

    Parameters
    ----------
    in_air_g_cm3 : array_like
        Density of the sample frozen at 1 atm [g/cm3].
    in_vacuum_g_cm3 : array_like
        Density of the sample frozen at the test pressure [g/cm3].

    Returns
    -------
    array
        Density index [%].

    Notes
    -----
    Some laboratories use 30 or 100 mbar instead of 80: never mix values of different test pressures.
    """
    in_air = np.asarray(in_air_g_cm3, dtype=float)
    return 100.0 * (in_air - np.asarray(in_vacuum_g_cm3, dtype=float)) / in_air


@relation(
    id="density-index-bound",
    title="Upper bound of the density index",
    source="upper bound of gas porosity at the test pressure and at 1 atm, no capillarity",
    provenance="derived",
    band=Band("relative", 0.05, "that of the gas porosity bound"),
    valid={"hydrogen_ml_100g": (0.0, 1.0), "test_pressure_mbar": (50.0, 1013.25)},
)
def density_index_bound(
    hydrogen_ml_100g: ArrayLike, test_pressure_mbar: ArrayLike = STANDARD_PRESSURE_MBAR
) -> NDArray[np.float64]:
    """Return the highest density index that hydrogen alone can make.

    Parameters
    ----------
    hydrogen_ml_100g : array_like
        Hydrogen of the melt [ml/100g].
    test_pressure_mbar : array_like
        Test pressure, absolute [mbar].

    Returns
    -------
    array
        Density index [%].

    Notes
    -----
    A value above it comes from oxides, shrinkage or a bad sample, not from more hydrogen.
    """
    reduced = gas_porosity_bound(hydrogen_ml_100g, np.asarray(test_pressure_mbar, dtype=float) / MBAR_PER_ATM)
    normal = gas_porosity_bound(hydrogen_ml_100g, 1.0)
    return 100.0 * (reduced - normal) / (100.0 - normal)


@relation(
    id="density-index-from-hydrogen",
    title="Density index that goes with hydrogen in ordinary melts",
    source=_CLOSURE_SOURCE,
    provenance="practice",
    band=Band("factor", 1.5, "factor 2 at two sigma; cleanliness decides at low hydrogen"),
    valid={"hydrogen_ml_100g": (0.05, 0.35), "test_pressure_mbar": (60.0, 110.0)},
    closure=True,
)
def density_index_from_hydrogen(
    hydrogen_ml_100g: ArrayLike, test_pressure_mbar: ArrayLike = STANDARD_PRESSURE_MBAR
) -> NDArray[np.float64]:
    """Return the density index that a melt of ordinary cleanliness shows.

    Parameters
    ----------
    hydrogen_ml_100g : array_like
        Hydrogen of the melt [ml/100g].
    test_pressure_mbar : array_like
        Test pressure, absolute [mbar].

    Returns
    -------
    array
        Density index [%].

    Notes
    -----
    140 (H - 0.05)^1.7 at 80 mbar, zero below 0.05; at another pressure the pores of 80 mbar change their volume by the
    gas law.
    """
    excess = np.maximum(np.asarray(hydrogen_ml_100g, dtype=float) - _ONSET_ML_100G, 0.0)
    standard = _SCALE_PCT * excess**_POWER
    return _at_pressure(standard, STANDARD_PRESSURE_MBAR / np.asarray(test_pressure_mbar, dtype=float))


@relation(
    id="hydrogen-equivalent",
    title="Hydrogen-equivalent of a density index",
    source=_CLOSURE_SOURCE,
    provenance="practice",
    band=Band("absolute", 0.04, "ml/100g", "an equivalent, not a measurement"),
    valid={"density_index_pct": (0.0, 15.0), "test_pressure_mbar": (60.0, 110.0)},
    closure=True,
)
def hydrogen_equivalent(
    density_index_pct: ArrayLike, test_pressure_mbar: ArrayLike = STANDARD_PRESSURE_MBAR
) -> NDArray[np.float64]:
    """Return the hydrogen whose usual density index this is: an equivalent, not a measurement.

    Parameters
    ----------
    density_index_pct : array_like
        Density index [%].
    test_pressure_mbar : array_like
        Test pressure, absolute [mbar].

    Returns
    -------
    array
        Hydrogen-equivalent [ml/100g].

    Notes
    -----
    0.05 + (DI/140)^(1/1.7) at 80 mbar; 0.05 for an index of zero or less. At low hydrogen oxides decide the index.
    """
    shown = np.maximum(np.asarray(density_index_pct, dtype=float), 0.0)
    standard = _at_pressure(shown, np.asarray(test_pressure_mbar, dtype=float) / STANDARD_PRESSURE_MBAR)
    return _ONSET_ML_100G + (standard / _SCALE_PCT) ** (1.0 / _POWER)


def _at_pressure(index_pct: NDArray[np.float64], growth: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a density index after its pores have grown by a factor in volume."""
    pores = index_pct * growth
    return 100.0 * pores / (100.0 - index_pct + pores)

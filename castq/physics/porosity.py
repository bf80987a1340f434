"""Gas porosity: pressures on a pore, the exact upper bound, the estimate, and the hydrogen limit."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import Band, relation
from castq.physics.hydrogen import ZERO_C_K
from castq.physics.hydrogen_freezing import (
    EUTECTIC_TEMP_C,
    LIQUID_SOLUBILITY_ML_100G,
    SOLID_SOLUBILITY_ML_100G,
)

ATMOSPHERE_PA = 101325.0
BAR_PER_ATM = 1.01325
GRAVITY_M_S2 = 9.80665
SURFACE_TENSION_N_M = 0.80
HOT_DENSITY_G_CM3 = 2.56
LATE_FRACTION_SOLID = 0.9

# Gas volume at the eutectic over its volume at 273.15 K, and metal volume of 100 g [ml].
_GAS_GROWTH = (EUTECTIC_TEMP_C + ZERO_C_K) / ZERO_C_K
_METAL_ML = 100.0 / HOT_DENSITY_G_CM3
# Threshold hydrogen at the late fraction solid and 1 atm; it grows with the root of the pressure.
_LATE_THRESHOLD = (
    1.0 - LATE_FRACTION_SOLID
) * LIQUID_SOLUBILITY_ML_100G + LATE_FRACTION_SOLID * SOLID_SOLUBILITY_ML_100G

CLEANLINESS = {"clean": 0.5, "ordinary": 1.0, "rich in oxide films": 2.0}
STRONTIUM_LOST_PPM = 40.0
STRONTIUM_MODIFIED_PPM = 80.0
STRONTIUM_FACTOR = 1.3
TIME_CONSTANT_S = 60.0


@relation(
    id="pore-capillary-pressure",
    title="Capillary pressure on a pore between dendrite arms",
    source="Young-Laplace, pore radius half the arm spacing after the idea of Kubo and Pehlke",
    provenance="memory",
    band=Band("relative", 0.3, "radius of the pore between arms"),
    valid={"sdas_um": (10.0, 100.0), "surface_tension_n_m": (0.6, 1.0)},
)
def capillary_pressure(sdas_um: ArrayLike, surface_tension_n_m: ArrayLike = SURFACE_TENSION_N_M) -> NDArray[np.float64]:
    """Return the capillary pressure 2 sigma/r of a pore with r = SDAS/2.

    Parameters
    ----------
    sdas_um : array_like
        Secondary dendrite arm spacing [um].
    surface_tension_n_m : array_like
        Surface tension of the liquid [N/m].

    Returns
    -------
    array
        Capillary pressure [atm].

    Notes
    -----
    0.80 N/m for AlSi7Mg. A modified melt is lower (about 0.65), but the estimate of gas porosity counts
    strontium in its own factor: do not count it twice.
    """
    factor = 4.0e6 / ATMOSPHERE_PA
    return (np.asarray(surface_tension_n_m, dtype=float) * factor) / np.asarray(sdas_um, dtype=float)


@relation(
    id="metal-pressure",
    title="Pressure of the metal in a zone",
    source="hydrostatics; hold pressure counted for the share of freezing while its path is open",
    provenance="derived",
    band=Band("relative", 0.1, "share of freezing with an open path"),
    valid={"metal_head_mm": (0.0, 2000.0), "hold_pressure_bar": (0.0, 3.0), "open_share": (0.0, 1.0)},
    closure=True,
)
def metal_pressure(
    metal_head_mm: ArrayLike,
    hold_pressure_bar: ArrayLike = 0.0,
    open_share: ArrayLike = 1.0,
    density_kg_m3: ArrayLike = 2450.0,
) -> NDArray[np.float64]:
    """Return the absolute pressure of the metal where pores form.

    Parameters
    ----------
    metal_head_mm : array_like
        Metal head above the zone [mm].
    hold_pressure_bar : array_like
        Gauge pressure on the melt [bar].
    open_share : array_like
        Share of the freezing time during which the feed path is open [-].
    density_kg_m3 : array_like
        Density of the liquid [kg/m3].

    Returns
    -------
    array
        Pressure, absolute [atm].

    Notes
    -----
    1 atm + head + hold pressure * open share. The pressure is exact at open share 0 and 1; between them it is a
    closure. The gravity feed head is counted in full.
    """
    head_atm = np.asarray(density_kg_m3, dtype=float) * np.asarray(metal_head_mm, dtype=float)
    head_atm = head_atm * (GRAVITY_M_S2 / 1000.0 / ATMOSPHERE_PA)
    gauge_bar = np.asarray(hold_pressure_bar, dtype=float) * np.asarray(open_share, dtype=float)
    return (1.0 + head_atm) + gauge_bar / BAR_PER_ATM


@relation(
    id="gas-porosity-bound",
    title="Upper bound of gas porosity",
    source="hydrogen balance and gas law at the end of freezing, 577 degC, with the solid solubility of Ransley and "
    "Neufeld 1948",
    provenance="derived",
    band=Band("relative", 0.05, "solid solubility and hot density"),
    valid={"hydrogen_ml_100g": (0.0, 1.0), "pore_pressure_atm": (0.05, 10.0)},
)
def gas_porosity_bound(hydrogen_ml_100g: ArrayLike, pore_pressure_atm: ArrayLike = 1.0) -> NDArray[np.float64]:
    """Return the porosity if all hydrogen that the solid cannot hold fills pores at a pressure.

    Parameters
    ----------
    hydrogen_ml_100g : array_like
        Hydrogen of the melt as poured [ml/100g].
    pore_pressure_atm : array_like
        Gas pressure in the pores, absolute [atm].

    Returns
    -------
    array
        Upper bound of the gas porosity [%].

    Notes
    -----
    Zero where the solid holds all of the hydrogen. Without capillarity, at the pressure of the metal, no porosity
    that comes from dissolved hydrogen can exceed it.
    """
    pressure = np.asarray(pore_pressure_atm, dtype=float)
    excess = np.asarray(hydrogen_ml_100g, dtype=float) - SOLID_SOLUBILITY_ML_100G * np.sqrt(pressure)
    gas = np.maximum(excess, 0.0) / pressure
    return 100.0 * gas / (gas + _METAL_ML / _GAS_GROWTH)


@relation(
    id="gas-porosity-site-factor",
    title="Factor of strontium and oxide films on gas porosity",
    source="strontium 1.3 (80 to 300 ppm), cleanliness 0.5 to 2: common practice, no source",
    provenance="practice",
    band=Band("factor", 1.3, "part of the factor-2 band of the estimate"),
    valid={"strontium_ppm": (0.0, 300.0), "cleanliness": (0.5, 2.0)},
    closure=True,
)
def site_factor(strontium_ppm: ArrayLike, cleanliness: ArrayLike = 1.0) -> NDArray[np.float64]:
    """Return the factor of strontium times that of oxide films.

    Parameters
    ----------
    strontium_ppm : array_like
        Strontium [ppm].
    cleanliness : array_like
        Oxide factor: 0.5 clean, 1 ordinary, 2 rich in oxide films [-].

    Returns
    -------
    array
        Factor on gas porosity [-].

    Notes
    -----
    Strontium counts 1 up to 40 ppm, where modification is lost, and 1.3 from 80 ppm; linear between.
    """
    share = (np.asarray(strontium_ppm, dtype=float) - STRONTIUM_LOST_PPM) / (
        STRONTIUM_MODIFIED_PPM - STRONTIUM_LOST_PPM
    )
    return (1.0 + (STRONTIUM_FACTOR - 1.0) * np.clip(share, 0.0, 1.0)) * np.asarray(cleanliness, dtype=float)


def _growth_share(
    local_solidification_time_s: ArrayLike, factor: ArrayLike, time_constant_s: ArrayLike
) -> NDArray[np.float64]:
    """Return the share of the bound that opens in the time there is, times the site factor."""
    time = np.asarray(local_solidification_time_s, dtype=float)
    return time * np.asarray(factor, dtype=float) / (time + np.asarray(time_constant_s, dtype=float))


@relation(
    id="gas-porosity-estimate",
    title="Gas porosity of a zone",
    source="form chosen to meet remembered AlSi7Mg anchors: 0 to 0.05 % at 10 s and 0.1 to 0.3 % at 60 to 100 s with "
    "0.10 to 0.12 ml/100g, 0.8 to 1.2 % slow with 0.25 to 0.31",
    provenance="practice",
    band=Band("factor", 1.6, "factor 2 at two sigma on remembered anchors"),
    valid={
        "hydrogen_ml_100g": (0.05, 0.40),
        "local_solidification_time_s": (5.0, 300.0),
        "sdas_um": (10.0, 100.0),
        "metal_pressure_atm": (1.0, 3.0),
        "strontium_cleanliness_factor": (0.5, 2.6),
        "time_constant_s": (30.0, 120.0),
    },
    closure=True,
)
def gas_porosity(
    hydrogen_ml_100g: ArrayLike,
    local_solidification_time_s: ArrayLike,
    sdas_um: ArrayLike,
    metal_pressure_atm: ArrayLike = 1.0,
    strontium_cleanliness_factor: ArrayLike = 1.0,
    time_constant_s: ArrayLike = TIME_CONSTANT_S,
) -> NDArray[np.float64]:
    """Return the estimate of gas porosity.

    Parameters
    ----------
    hydrogen_ml_100g : array_like
        Hydrogen of the melt as poured [ml/100g].
    local_solidification_time_s : array_like
        Time from liquidus to end of freezing [s].
    sdas_um : array_like
        Secondary dendrite arm spacing [um].
    metal_pressure_atm : array_like
        Pressure of the metal, absolute [atm].
    strontium_cleanliness_factor : array_like
        Factor of strontium times that of oxide films [-].
    time_constant_s : array_like
        Time constant of pore growth, 30 to 120 [s].

    Returns
    -------
    array
        Gas porosity [%].

    Notes
    -----
    bound(H, p + 4 sigma/SDAS) * t/(t + tau) * factor, zero up to the hydrogen that opens a pore at 0.9 solid under
    p + 4 sigma/SDAS, and never above bound(H, p): a factor above 1 eases the opening of pores, it makes no hydrogen.
    """
    hydrogen = np.asarray(hydrogen_ml_100g, dtype=float)
    pressure = np.asarray(metal_pressure_atm, dtype=float)
    pore_pressure = capillary_pressure(sdas_um) + pressure
    share = _growth_share(local_solidification_time_s, strontium_cleanliness_factor, time_constant_s)
    porosity = gas_porosity_bound(hydrogen, pore_pressure) * share
    if np.any(share > 1.0):  # a smaller share of the bound with capillarity cannot exceed the one without
        porosity = np.minimum(porosity, gas_porosity_bound(hydrogen, pressure))
    return porosity * (hydrogen > _LATE_THRESHOLD * np.sqrt(pore_pressure))


@relation(
    id="hydrogen-limit",
    title="Highest hydrogen at which a zone keeps its gas porosity limit",
    source="the estimate of gas porosity, solved for hydrogen",
    provenance="derived",
    band=Band("factor", 1.4, "that of the estimate, carried through its slope in hydrogen"),
    valid={
        "porosity_limit_pct": (0.0, 5.0),
        "local_solidification_time_s": (5.0, 300.0),
        "sdas_um": (10.0, 100.0),
        "metal_pressure_atm": (1.0, 3.0),
        "strontium_cleanliness_factor": (0.5, 2.6),
        "time_constant_s": (30.0, 120.0),
    },
    closure=True,
)
def hydrogen_limit(
    porosity_limit_pct: ArrayLike,
    local_solidification_time_s: ArrayLike,
    sdas_um: ArrayLike,
    metal_pressure_atm: ArrayLike = 1.0,
    strontium_cleanliness_factor: ArrayLike = 1.0,
    time_constant_s: ArrayLike = TIME_CONSTANT_S,
) -> NDArray[np.float64]:
    """Return the highest hydrogen whose estimated gas porosity does not exceed a limit.

    Parameters
    ----------
    porosity_limit_pct : array_like
        Limit on gas porosity [%].
    local_solidification_time_s : array_like
        Time from liquidus to end of freezing [s].
    sdas_um : array_like
        Secondary dendrite arm spacing [um].
    metal_pressure_atm : array_like
        Pressure of the metal, absolute [atm].
    strontium_cleanliness_factor : array_like
        Factor of strontium times that of oxide films [-].
    time_constant_s : array_like
        Time constant of pore growth, 30 to 120 [s].

    Returns
    -------
    array
        Hydrogen limit [ml/100g].

    Notes
    -----
    Closed form. The estimate jumps at its threshold; a limit below the jump gives the threshold. A negative limit
    (shrinkage alone is too much) gives 0, and a limit that no hydrogen can exceed gives infinity.
    """
    limit = np.asarray(porosity_limit_pct, dtype=float)
    pressure = np.asarray(metal_pressure_atm, dtype=float)
    pore_pressure = capillary_pressure(sdas_um) + pressure
    share = _growth_share(local_solidification_time_s, strontium_cleanliness_factor, time_constant_s)
    by_growth = _hydrogen_of_bound(limit / share, pore_pressure)
    hydrogen = np.maximum(by_growth, _hydrogen_of_bound(limit, pressure))
    hydrogen = np.maximum(hydrogen, _LATE_THRESHOLD * np.sqrt(pore_pressure))
    return np.where(limit < 0.0, 0.0, hydrogen)


def _hydrogen_of_bound(porosity_pct: NDArray[np.float64], pressure_atm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the hydrogen whose bound is a porosity; infinite where 100 % or more is asked."""
    room = np.maximum(100.0 - porosity_pct, 0.0)
    with np.errstate(divide="ignore"):
        gas = (_METAL_ML / _GAS_GROWTH) * porosity_pct / room
    return gas * pressure_atm + SOLID_SOLUBILITY_ML_100G * np.sqrt(pressure_atm)

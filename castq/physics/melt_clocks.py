"""What fades while a melt is held: strontium by oxidation, grain refiner by settling."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, Band, relation
from castq.physics.porosity import GRAVITY_M_S2

STRONTIUM_HALF_LIFE_H = 3.0
STRONTIUM_LOST_IN_TREATMENT = 0.10
_STRONTIUM_SOURCE = (
    "first-order fade, form after Djurdjevic et al. 2023, Crystals 13:191; half-life of 0.6 to 8 h and loss of 5 to "
    "20 % in a rotor treatment: common practice, no source"
)


@relation(
    id="strontium-fade",
    title="Strontium left after holding and treatments",
    source=_STRONTIUM_SOURCE,
    provenance="practice",
    band=Band("factor", 2.5, "of the half-life"),
    valid={"hours_h": (0.0, 12.0), "half_life_h": (0.6, 8.0), "lost_in_treatment": (0.0, 0.2)},
)
def strontium_left(
    start_ppm: ArrayLike,
    hours_h: ArrayLike,
    half_life_h: ArrayLike = STRONTIUM_HALF_LIFE_H,
    treatments: ArrayLike = 0.0,
    lost_in_treatment: ArrayLike = STRONTIUM_LOST_IN_TREATMENT,
) -> NDArray[np.float64]:
    """Return the strontium left.

    Parameters
    ----------
    start_ppm : array_like
        Strontium at the start [ppm].
    hours_h : array_like
        Holding time [h].
    half_life_h : array_like
        Time in which half is lost in holding [h].
    treatments : array_like
        Number of degassing treatments since [-].
    lost_in_treatment : array_like
        Share lost in each treatment [-].

    Returns
    -------
    array
        Strontium [ppm].

    Notes
    -----
    Strontium oxidises at the surface: the shallower and the more disturbed the bath, the faster.
    """
    held = np.exp2(-np.asarray(hours_h, dtype=float) / np.asarray(half_life_h, dtype=float))
    treated = np.power(1.0 - np.asarray(lost_in_treatment, dtype=float), np.asarray(treatments, dtype=float))
    return np.asarray(start_ppm, dtype=float) * held * treated


@relation(
    id="strontium-fade-time",
    title="Time until strontium has faded to a limit",
    source=_STRONTIUM_SOURCE,
    provenance="practice",
    band=Band("factor", 2.5, "that of the half-life"),
    valid={"half_life_h": (0.6, 8.0)},
)
def strontium_hours(
    start_ppm: ArrayLike, limit_ppm: ArrayLike, half_life_h: ArrayLike = STRONTIUM_HALF_LIFE_H
) -> NDArray[np.float64]:
    """Return the hours of holding until strontium has faded to a limit.

    Parameters
    ----------
    start_ppm : array_like
        Strontium now [ppm].
    limit_ppm : array_like
        Limit, above 0 [ppm].
    half_life_h : array_like
        Time in which half is lost [h].

    Returns
    -------
    array
        Hours, 0 at or below the limit [h].
    """
    start, limit = np.asarray(start_ppm, dtype=float), np.asarray(limit_ppm, dtype=float)
    return np.log2(np.maximum(start, limit) / limit) * np.asarray(half_life_h, dtype=float)


@relation(
    id="particle-settling-speed",
    title="Settling speed of a small particle in the melt",
    source="Stokes' law with boride 2120 kg/m3 heavier than the melt and a viscosity of 1.1 mPa s",
    provenance="derived",
    band=Band("factor", 2.0, "clusters settle as larger particles"),
    valid={"radius_um": (0.1, 20.0)},
)
def settling_speed(
    radius_um: ArrayLike, density_difference_kg_m3: ArrayLike = 2120.0, viscosity_pa_s: ArrayLike = 1.1e-3
) -> NDArray[np.float64]:
    """Return the settling speed.

    Parameters
    ----------
    radius_um : array_like
        Radius of the particle [um].
    density_difference_kg_m3 : array_like
        Density of the particle less that of the melt [kg/m3].
    viscosity_pa_s : array_like
        Viscosity of the melt [Pa s].

    Returns
    -------
    array
        Speed [mm/h].
    """
    radius_m = np.asarray(radius_um, dtype=float) * 1e-6
    speed_m_s = 2.0 / 9.0 * np.asarray(density_difference_kg_m3, dtype=float) * GRAVITY_M_S2 * np.square(radius_m)
    return speed_m_s / np.asarray(viscosity_pa_s, dtype=float) * 3.6e6


@relation(
    id="settling-time",
    title="Time in which a share of the particles has settled out of an unstirred bath",
    source="uniform settling: the clear layer grows at the settling speed",
    provenance="derived",
    band=EXACT,
    valid={"bath_depth_mm": (50.0, 2000.0), "share_lost": (0.0, 1.0)},
)
def settling_minutes(
    bath_depth_mm: ArrayLike, speed_mm_h: ArrayLike, share_lost: ArrayLike = 0.5
) -> NDArray[np.float64]:
    """Return the minutes until a share of the particles of one size lies on the bottom.

    Parameters
    ----------
    bath_depth_mm : array_like
        Depth of the bath [mm].
    speed_mm_h : array_like
        Settling speed [mm/h].
    share_lost : array_like
        Share of the particles settled [-].

    Returns
    -------
    array
        Minutes [min].
    """
    depth = np.asarray(bath_depth_mm, dtype=float) * np.asarray(share_lost, dtype=float)
    return 60.0 * depth / np.asarray(speed_mm_h, dtype=float)

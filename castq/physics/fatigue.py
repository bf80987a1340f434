"""Fatigue strength of Al-Si-Mg castings from SDAS and the largest pore."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, Band, relation

MURAKAMI_SURFACE = 1.43
MURAKAMI_INTERIOR = 1.56
GEOMETRY_SURFACE = 0.65
REFERENCE_CYCLES = 1e7
ANCHORS = "published endurance values of A356 and AlSi7Mg castings, 59 to 110 MPa (tensile_rows.csv names them)"


@relation(
    id="pore-sqrt-area",
    title="Square root of the projected area of a round pore",
    source="area of a circle",
    provenance="derived",
    band=EXACT,
)
def pore_sqrt_area(pore_diameter_um: ArrayLike) -> NDArray[np.float64]:
    """Return the square root of the area that a round pore takes out of the section.

    Parameters
    ----------
    pore_diameter_um : array_like
        Equivalent diameter [um].

    Returns
    -------
    array
        Square root of the projected area [um].
    """
    return np.asarray(np.sqrt(np.pi / 4.0) * np.asarray(pore_diameter_um, dtype=float))


@relation(
    id="fatigue-strength-sdas-pore",
    title="Fatigue strength at 1e7 cycles from SDAS and the largest pore",
    source="form with an intrinsic defect size, critical sqrt(area) 400 um in A356-T6 (Roy et al., arXiv 1206.2343); "
    "level through " + ANCHORS,
    provenance="derived",
    band=Band("relative", 0.20, "anchors only"),
    valid={"sdas_um": (12.0, 90.0), "sqrt_area_um": (0.0, 1000.0)},
    closure=True,
)
def fatigue_strength(
    sdas_um: ArrayLike, sqrt_area_um: ArrayLike, intrinsic_um: ArrayLike = 400.0
) -> NDArray[np.float64]:
    """Return the stress amplitude, fully reversed, that T6 metal bears for 1e7 cycles.

    Parameters
    ----------
    sdas_um : array_like
        Secondary dendrite arm spacing [um].
    sqrt_area_um : array_like
        Square root of the area of the largest pore in the stressed volume [um].
    intrinsic_um : array_like
        Size at which a pore takes over from the structure [um].

    Returns
    -------
    array
        Amplitude [MPa].

    Notes
    -----
    The smaller size of 25-50 um that is also published says where cracks start, not where strength is lost.
    """
    intrinsic = np.asarray(intrinsic_um, dtype=float)
    structure = np.sqrt(20.0 / np.asarray(sdas_um, dtype=float))
    return np.asarray(110.0 * np.sqrt(structure * (intrinsic / (intrinsic + np.asarray(sqrt_area_um, dtype=float)))))


@relation(
    id="fatigue-life-curve",
    title="Stress amplitude at a life, from the amplitude at 1e7 cycles",
    source="straight line in log stress and log life, slope -0.10 (-0.08 to -0.13)",
    provenance="memory",
    band=Band("relative", 0.10, "slope -0.08 to -0.13"),
    valid={"cycles": (5e4, 1e7)},
)
def stress_amplitude_at_life(
    fatigue_strength_mpa: ArrayLike, cycles: ArrayLike, slope: ArrayLike = -0.10, ys_mpa: ArrayLike = np.inf
) -> NDArray[np.float64]:
    """Return the stress amplitude that is borne for the stated number of cycles.

    Parameters
    ----------
    fatigue_strength_mpa : array_like
        Amplitude at 1e7 cycles [MPa].
    cycles : array_like
        Life [-].
    slope : array_like
        Slope of log amplitude over log life [-].
    ys_mpa : array_like
        0.2 % proof stress, which caps the amplitude [MPa].

    Returns
    -------
    array
        Amplitude [MPa].
    """
    ratio = np.exp(np.asarray(slope, dtype=float) * np.log(np.asarray(cycles, dtype=float) / REFERENCE_CYCLES))
    return np.asarray(
        np.minimum(np.asarray(fatigue_strength_mpa, dtype=float) * ratio, np.asarray(ys_mpa, dtype=float))
    )


@relation(
    id="fatigue-murakami",
    title="Fatigue limit from hardness and defect size, as found for steel",
    source="Murakami, factor 1.43 for a surface defect and 1.56 for one inside",
    provenance="memory",
    band=Band("relative", 0.60, "reads 40-70 % high for A356 at the same defect size"),
    valid={"hardness_hv": (70.0, 130.0), "sqrt_area_um": (50.0, 1000.0)},
)
def fatigue_limit_murakami(
    hardness_hv: ArrayLike, sqrt_area_um: ArrayLike, location_factor: ArrayLike = MURAKAMI_SURFACE
) -> NDArray[np.float64]:
    """Return the fully reversed fatigue limit by the form found for steel.

    Parameters
    ----------
    hardness_hv : array_like
        Vickers hardness [HV].
    sqrt_area_um : array_like
        Square root of the defect area [um].
    location_factor : array_like
        1.43 at the surface, 1.56 inside [-].

    Returns
    -------
    array
        Amplitude [MPa].

    Notes
    -----
    For comparison only: not recalibrated to aluminium castings.
    """
    sixth_root = np.cbrt(np.sqrt(np.asarray(sqrt_area_um, dtype=float)))
    return np.asarray(
        np.asarray(location_factor, dtype=float) * (np.asarray(hardness_hv, dtype=float) + 120.0) / sixth_root
    )


@relation(
    id="fatigue-kmax",
    title="Largest stress intensity at a surface defect",
    source="Murakami, 0.65 stress sqrt(pi sqrt(area))",
    provenance="memory",
    band=Band("relative", 0.10, "shape of the defect"),
    valid={"sqrt_area_um": (10.0, 3000.0)},
)
def stress_intensity(
    stress_amplitude_mpa: ArrayLike, sqrt_area_um: ArrayLike, geometry: ArrayLike = GEOMETRY_SURFACE
) -> NDArray[np.float64]:
    """Return the stress intensity at the peak of a fully reversed cycle.

    Parameters
    ----------
    stress_amplitude_mpa : array_like
        Stress amplitude [MPa].
    sqrt_area_um : array_like
        Square root of the defect area [um].
    geometry : array_like
        0.65 at the surface, 0.50 inside [-].

    Returns
    -------
    array
        Stress intensity [MPa m^0.5].
    """
    root = np.sqrt(np.pi * 1e-6 * np.asarray(sqrt_area_um, dtype=float))
    return np.asarray(np.asarray(geometry, dtype=float) * np.asarray(stress_amplitude_mpa, dtype=float) * root)


@relation(
    id="fatigue-threshold-stress",
    title="Stress amplitude at which a surface defect reaches the threshold",
    source="Murakami, 0.65 stress sqrt(pi sqrt(area)), solved for the stress",
    provenance="memory",
    band=Band("relative", 0.20, "threshold 2.0-2.3 MPa m^0.5 for A356"),
    valid={"sqrt_area_um": (100.0, 3000.0)},
)
def threshold_stress(
    sqrt_area_um: ArrayLike, threshold_mpa_m: ArrayLike = 2.0, geometry: ArrayLike = GEOMETRY_SURFACE
) -> NDArray[np.float64]:
    """Return the stress amplitude below which a crack from the defect does not grow.

    Parameters
    ----------
    sqrt_area_um : array_like
        Square root of the defect area [um].
    threshold_mpa_m : array_like
        Threshold of the peak stress intensity [MPa m^0.5].
    geometry : array_like
        0.65 at the surface, 0.50 inside [-].

    Returns
    -------
    array
        Amplitude [MPa].

    Notes
    -----
    For long cracks; the stress is overrated for defects much smaller than 400 um.
    """
    return np.asarray(np.asarray(threshold_mpa_m, dtype=float) / stress_intensity(1.0, sqrt_area_um, geometry))


@relation(
    id="fatigue-life-ratio",
    title="Life from stress amplitude and size of the starting defect",
    source="crack growth from the defect, N ~ stress^-m area^((2-m)/4), m about 4.2; Wang, Tiryakioglu",
    provenance="memory",
    band=Band("factor", 2.0, "scatter of life at one defect size"),
    valid={"sqrt_area_ratio": (0.1, 10.0), "stress_ratio": (0.5, 2.0)},
)
def life_ratio(
    sqrt_area_ratio: ArrayLike, stress_ratio: ArrayLike = 1.0, paris_exponent: ArrayLike = 4.2
) -> NDArray[np.float64]:
    """Return the life over that at the reference defect and stress.

    Parameters
    ----------
    sqrt_area_ratio : array_like
        Square root of the defect area over that of the reference [-].
    stress_ratio : array_like
        Stress amplitude over that of the reference [-].
    paris_exponent : array_like
        Exponent of crack growth rate over stress intensity [-].

    Returns
    -------
    array
        Life over the reference life [-].
    """
    m = np.asarray(paris_exponent, dtype=float)
    size = np.asarray(sqrt_area_ratio, dtype=float) ** ((2.0 - m) / 2.0)
    return np.asarray(size * np.asarray(stress_ratio, dtype=float) ** -m)

"""Sizes of pores, and the share of a fracture surface that they take."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import Band, relation


@relation(
    id="mean-pore-diameter",
    title="Equivalent diameter of the mean pore",
    source="equal spheres of a number density; 1 to 20 per mm3 is remembered",
    provenance="memory",
    band=Band("factor", 1.5, "number density 1 to 20 per mm3"),
    valid={"porosity_pct": (0.0, 5.0), "pores_per_mm3": (1.0, 20.0)},
)
def mean_pore_diameter(porosity_pct: ArrayLike, pores_per_mm3: ArrayLike = 5.0) -> NDArray[np.float64]:
    """Return the diameter of the mean pore.

    Parameters
    ----------
    porosity_pct : array_like
        Porosity by volume [%].
    pores_per_mm3 : array_like
        Number density of pores [1/mm3].

    Returns
    -------
    array
        Diameter [um].
    """
    volume_mm3 = np.asarray(porosity_pct, dtype=float) / np.asarray(pores_per_mm3, dtype=float)
    return 1000.0 * np.cbrt((6.0 / (100.0 * math.pi)) * volume_mm3)


@relation(
    id="largest-pore-diameter",
    title="Diameter of the largest pore",
    source="3 to 5 times the mean, remembered",
    provenance="memory",
    band=Band("relative", 0.15, "3 to 5 times the mean"),
    valid={"ratio": (3.0, 5.0)},
    closure=True,
)
def largest_pore_diameter(mean_diameter_um: ArrayLike, ratio: ArrayLike = 4.0) -> NDArray[np.float64]:
    """Return the diameter of the largest pore.

    Parameters
    ----------
    mean_diameter_um : array_like
        Diameter of the mean pore [um].
    ratio : array_like
        Largest over mean [-].

    Returns
    -------
    array
        Diameter [um].

    Notes
    -----
    A fixed ratio, not an extreme-value estimate: the spread of pore sizes is not known before metallography.
    """
    return np.asarray(mean_diameter_um, dtype=float) * np.asarray(ratio, dtype=float)


@relation(
    id="defect-area-fraction",
    title="Area fraction of defects on the fracture surface from volume porosity",
    source="concentration 5 (3 to 10) remembered; that the area fraction, not volume porosity, governs elongation: "
    "Caceres and Selling 1996, Materials Science and Engineering A 220:109",
    provenance="memory",
    band=Band("factor", 1.6, "concentration 3 to 10"),
    valid={"porosity_pct": (0.0, 3.0), "concentration": (3.0, 10.0)},
    closure=True,
)
def defect_area_fraction(porosity_pct: ArrayLike, concentration: ArrayLike = 5.0) -> NDArray[np.float64]:
    """Return the area fraction of defects on the fracture surface.

    Parameters
    ----------
    porosity_pct : array_like
        Porosity by volume [%].
    concentration : array_like
        Area fraction on the fracture over volume fraction in bulk [-].

    Returns
    -------
    array
        Area fraction, at most 1 [-].
    """
    fraction = np.asarray(porosity_pct, dtype=float) * (0.01 * np.asarray(concentration, dtype=float))
    return np.minimum(fraction, 1.0)

"""Largest defects: Gumbel law of block maxima and its scaling with volume."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, relation

EULER_GAMMA = 0.5772156649015329
GUMBEL_SOURCE = (
    "Gumbel law of defect maxima in Al-7Si-Mg castings, Tiryakioglu, Metall. Mater. Trans. A (2009); "
    "volume scaling, Romano et al., Procedia Struct. Integrity 7 (2017) 275"
)


@relation(
    id="largest-defect-gumbel",
    title="Quantile of the largest defect in a volume",
    source=GUMBEL_SOURCE,
    provenance="read",
    band=EXACT,
    valid={"probability": (0.001, 0.999), "volume_ratio": (0.1, 1e4)},
)
def largest_defect(
    probability: ArrayLike, location_um: ArrayLike, scale_um: ArrayLike, volume_ratio: ArrayLike = 1.0
) -> NDArray[np.float64]:
    """Return the size that the largest defect stays below with the stated probability.

    Parameters
    ----------
    probability : array_like
        Probability [-].
    location_um : array_like
        Location (mode) of the block maxima [um].
    scale_um : array_like
        Scale of the block maxima [um].
    volume_ratio : array_like
        Volume over that of one block [-].

    Returns
    -------
    array
        Defect size, the same measure as the location [um].

    Notes
    -----
    A larger volume moves the location by scale ln(ratio) and leaves the scale.
    """
    reduced = np.log(np.asarray(volume_ratio, dtype=float)) - np.log(-np.log(np.asarray(probability, dtype=float)))
    return np.asarray(np.asarray(location_um, dtype=float) + np.asarray(scale_um, dtype=float) * reduced)


@relation(
    id="largest-defect-probability",
    title="Probability that the largest defect in a volume stays below a size",
    source=GUMBEL_SOURCE,
    provenance="read",
    band=EXACT,
)
def largest_defect_probability(
    size_um: ArrayLike, location_um: ArrayLike, scale_um: ArrayLike, volume_ratio: ArrayLike = 1.0
) -> NDArray[np.float64]:
    """Return the probability that no defect is larger than a size.

    Parameters
    ----------
    size_um : array_like
        Defect size [um].
    location_um : array_like
        Location (mode) of the block maxima [um].
    scale_um : array_like
        Scale of the block maxima [um].
    volume_ratio : array_like
        Volume over that of one block [-].

    Returns
    -------
    array
        Probability [-].
    """
    reduced = (np.asarray(size_um, dtype=float) - np.asarray(location_um, dtype=float)) / np.asarray(
        scale_um, dtype=float
    )
    return np.asarray(np.exp(-np.asarray(volume_ratio, dtype=float) * np.exp(-reduced)))


@relation(
    id="gumbel-from-moments",
    title="Gumbel location and scale from mean and standard deviation of block maxima",
    source="method of moments: scale = s sqrt(6)/pi, location = mean - 0.57722 scale",
    provenance="derived",
    band=EXACT,
)
def gumbel_from_moments(mean_um: ArrayLike, deviation_um: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the Gumbel law with the moments of measured block maxima.

    Parameters
    ----------
    mean_um : array_like
        Mean of the largest defects, one a block [um].
    deviation_um : array_like
        Standard deviation of them [um].

    Returns
    -------
    tuple of arrays
        Location [um] and scale [um].
    """
    scale = np.asarray(deviation_um, dtype=float) * (np.sqrt(6.0) / np.pi)
    return np.asarray(mean_um, dtype=float) - EULER_GAMMA * scale, scale

"""Basis values of few specimens, and what a Weibull modulus means for scatter."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, Band, relation

HANDBOOK = "CMH-17-1G"
# Share of parts above the basis value; the confidence is 0.95 for both.
COVERAGE: dict[str, float] = {"A": 0.99, "B": 0.90}
# Weibull factor V = base + exp(constant + log_n ln n + one_over / m), m = n or n - 1, of CMH-17-1G.
_WEIBULL_FACTOR: dict[str, tuple[float, float, float, float, float]] = {
    "A": (6.649, 2.55, -0.526, 4.76, 0.0),
    "B": (3.803, 1.79, -0.516, 5.1, 1.0),
}


@relation(
    id="normal-tolerance-factor",
    title="One-sided tolerance factor of a normal sample",
    source="non-central t quantile over sqrt(n), " + HANDBOOK,
    provenance="memory",
    band=EXACT,
    valid={"count": (3.0, 1e4)},
)
def normal_tolerance_factor(
    count: ArrayLike, coverage: ArrayLike = 0.90, confidence: ArrayLike = 0.95
) -> NDArray[np.float64]:
    """Return k: with the stated confidence, mean - k s lies below the stated share of all parts.

    Parameters
    ----------
    count : array_like
        Number of specimens [-].
    coverage : array_like
        Share of parts above the bound [-]: 0.90 for B, 0.99 for A.
    confidence : array_like
        Confidence [-].

    Returns
    -------
    array
        Factor k [-].

    Notes
    -----
    Wheels rarely give more than 30 bars a zone: report the B value, and call none an A basis.
    """
    from scipy.special import ndtri
    from scipy.stats import nct

    root = np.sqrt(np.asarray(count, dtype=float))
    shift = ndtri(np.asarray(coverage, dtype=float)) * root
    return np.asarray(nct.ppf(np.asarray(confidence, dtype=float), root**2 - 1.0, shift) / root)


@relation(
    id="normal-basis-value",
    title="Lower tolerance bound of a normal sample",
    source="mean - k s, " + HANDBOOK,
    provenance="memory",
    band=EXACT,
    valid={"count": (3.0, 1e4)},
)
def normal_basis_value(
    mean: ArrayLike,
    deviation: ArrayLike,
    count: ArrayLike,
    coverage: ArrayLike = 0.90,
    confidence: ArrayLike = 0.95,
) -> NDArray[np.float64]:
    """Return the value that the stated share of parts exceeds with the stated confidence.

    Parameters
    ----------
    mean : array_like
        Sample mean [any unit].
    deviation : array_like
        Sample standard deviation [same unit].
    count : array_like
        Number of specimens [-].
    coverage : array_like
        Share of parts above the bound [-].
    confidence : array_like
        Confidence [-].

    Returns
    -------
    array
        Bound [same unit].
    """
    factor = normal_tolerance_factor(count, coverage, confidence)
    return np.asarray(np.asarray(mean, dtype=float) - factor * np.asarray(deviation, dtype=float))


@relation(
    id="weibull-basis-value",
    title="Lower tolerance bound of a two-parameter Weibull sample",
    source="approximate factors of " + HANDBOOK,
    provenance="memory",
    band=Band("relative", 0.005, "fit of the factors"),
    valid={"count": (10.0, 1e4)},
)
def weibull_basis_value(
    scale: ArrayLike, modulus: ArrayLike, count: ArrayLike, basis: Literal["A", "B"] = "B"
) -> NDArray[np.float64]:
    """Return the A or B value, at 95 % confidence, of a Weibull sample.

    Parameters
    ----------
    scale : array_like
        Characteristic value of the fit [any unit].
    modulus : array_like
        Weibull modulus of the fit [-].
    count : array_like
        Number of specimens [-].
    basis : {"A", "B"}
        99 % (A) or 90 % (B) of parts above the bound [-].

    Returns
    -------
    array
        Bound [same unit].
    """
    n, m = np.asarray(count, dtype=float), np.asarray(modulus, dtype=float)
    base, constant, per_log, per_inverse, lost = _WEIBULL_FACTOR[basis]
    factor = base + np.exp(constant + per_log * np.log(n) + per_inverse / (n - lost))
    quantile = np.asarray(scale, dtype=float) * (-np.log(COVERAGE[basis])) ** (1.0 / m)
    return np.asarray(quantile * np.exp(-factor / (m * np.sqrt(n))))


@relation(
    id="nonparametric-rank",
    title="Rank of the specimen that is a lower tolerance bound, whatever the distribution",
    source="order statistics and the binomial law, " + HANDBOOK,
    provenance="memory",
    band=EXACT,
    valid={"count": (1.0, 1e6)},
)
def nonparametric_rank(
    count: ArrayLike, coverage: ArrayLike = 0.90, confidence: ArrayLike = 0.95
) -> NDArray[np.float64]:
    """Return r: the r-th smallest of the specimens is the bound.

    Parameters
    ----------
    count : array_like
        Number of specimens [-].
    coverage : array_like
        Share of parts above the bound [-].
    confidence : array_like
        Confidence [-].

    Returns
    -------
    array
        Rank [-]; 0 where there are too few specimens for any bound.
    """
    from scipy.stats import binom

    n, below = np.asarray(count, dtype=float), 1.0 - np.asarray(coverage, dtype=float)
    return np.asarray(binom.ppf(1.0 - np.asarray(confidence, dtype=float), n, below), dtype=float)


@relation(
    id="weibull-variation",
    title="Coefficient of variation of a two-parameter Weibull law",
    source="moments of the Weibull law",
    provenance="derived",
    band=EXACT,
    valid={"modulus": (0.5, 200.0)},
)
def weibull_variation(modulus: ArrayLike) -> NDArray[np.float64]:
    """Return the standard deviation over the mean.

    Parameters
    ----------
    modulus : array_like
        Weibull modulus [-].

    Returns
    -------
    array
        Coefficient of variation [-].
    """
    from scipy.special import gammaln

    m = np.asarray(modulus, dtype=float)
    return np.sqrt(np.expm1(gammaln(1.0 + 2.0 / m) - 2.0 * gammaln(1.0 + 1.0 / m)))


@relation(
    id="weibull-percentile-over-mean",
    title="Percentile over mean of a two-parameter Weibull law",
    source="quantile and mean of the Weibull law",
    provenance="derived",
    band=EXACT,
    valid={"modulus": (0.5, 200.0), "probability": (0.0001, 0.9999)},
)
def weibull_percentile_over_mean(modulus: ArrayLike, probability: ArrayLike = 0.10) -> NDArray[np.float64]:
    """Return the value that the stated share of specimens falls below, over the mean.

    Parameters
    ----------
    modulus : array_like
        Weibull modulus [-].
    probability : array_like
        Share of specimens below [-].

    Returns
    -------
    array
        Percentile over mean [-].
    """
    from scipy.special import gammaln

    m = np.asarray(modulus, dtype=float)
    return np.asarray(np.exp(np.log(-np.log1p(-np.asarray(probability, dtype=float))) / m - gammaln(1.0 + 1.0 / m)))

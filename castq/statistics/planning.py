"""How many samples: for a mean to a half width, to prove a mean below a limit, to show that a test finds defects."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, relation

STUDENT = "Student's t interval of a normal mean"
# How far above the normal-law estimate the search goes on.
SEARCHED = 200


@relation(
    id="half-width-sample-size",
    title="Number of samples for a two-sided interval of the mean of a stated half width",
    source="smallest n with t s / sqrt(n) <= half width; " + STUDENT,
    provenance="derived",
    band=EXACT,
    valid={"variation": (0.0, 2.0), "half_width": (0.001, 2.0)},
)
def half_width_sample_size(
    variation: ArrayLike, half_width: ArrayLike, confidence: ArrayLike = 0.95
) -> NDArray[np.float64]:
    """Return the number of samples for which the interval of the mean is expected to be that narrow.

    Parameters
    ----------
    variation : array_like
        Standard deviation over mean of single samples [-].
    half_width : array_like
        Half width of the interval over the mean [-].
    confidence : array_like
        Two-sided confidence [-].

    Returns
    -------
    array
        Number of samples, at least 2 [-].

    Notes
    -----
    With the standard deviation as assumed; that of so few samples will differ, so take it as the least to plan for.
    """
    upper = 0.5 * (1.0 + np.asarray(confidence, dtype=float))
    return _least(np.asarray(half_width, dtype=float) / np.asarray(variation, dtype=float), upper)


@relation(
    id="mean-proof-sample-size",
    title="Number of samples to prove a mean below a limit",
    source="smallest n with t s / sqrt(n) <= margin, one-sided; " + STUDENT,
    provenance="derived",
    band=EXACT,
    valid={"margin_over_deviation": (0.05, 20.0)},
)
def mean_proof_sample_size(margin_over_deviation: ArrayLike, confidence: ArrayLike = 0.95) -> NDArray[np.float64]:
    """Return the number of samples that proves the mean below the limit if mean and scatter come out as assumed.

    Parameters
    ----------
    margin_over_deviation : array_like
        Limit less mean, over the standard deviation of single samples [-].
    confidence : array_like
        One-sided confidence [-].

    Returns
    -------
    array
        Number of samples, at least 2 [-]; infinite when the mean does not lie below the limit.
    """
    return _least(np.asarray(margin_over_deviation, dtype=float), np.asarray(confidence, dtype=float))


def _least(wanted: NDArray[np.float64], level: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the smallest n >= 2 with t(level, n - 1) / sqrt(n) <= wanted; it lies a little above the normal one."""
    from scipy.special import ndtri, stdtrit

    wanted, level = np.broadcast_arrays(wanted, level)
    possible = wanted > 0.0
    start = np.maximum(2.0, np.floor((ndtri(level) / np.where(possible, wanted, 1.0)) ** 2))
    n = start[..., None] + np.arange(SEARCHED)
    enough = stdtrit(n - 1.0, level[..., None]) <= wanted[..., None] * np.sqrt(n) * (1.0 + 1e-12)
    first = np.take_along_axis(n, np.argmax(enough, axis=-1)[..., None], axis=-1)[..., 0]
    return np.where(possible & enough.any(axis=-1), first, np.inf)


@relation(
    id="mean-proof-margin",
    title="Distance of a mean from its limit that proves it below, over the standard deviation",
    source="t / sqrt(n), one-sided; " + STUDENT,
    provenance="derived",
    band=EXACT,
    valid={"count": (2.0, 1e6)},
)
def mean_proof_margin(count: ArrayLike, confidence: ArrayLike = 0.95) -> NDArray[np.float64]:
    """Return by how many standard deviations the mean of so many samples must lie below the limit.

    Parameters
    ----------
    count : array_like
        Number of samples [-].
    confidence : array_like
        One-sided confidence [-].

    Returns
    -------
    array
        Margin over standard deviation [-].
    """
    from scipy.special import stdtrit

    n = np.asarray(count, dtype=float)
    return np.asarray(stdtrit(n - 1.0, np.asarray(confidence, dtype=float)) / np.sqrt(n))


@relation(
    id="found-share-lower-bound",
    title="Share of defects found that a demonstration proves",
    source="Clopper and Pearson 1934, Biometrika 26:404",
    provenance="memory",
    band=EXACT,
    valid={"trials": (1.0, 1e6)},
)
def found_share_lower_bound(found: ArrayLike, trials: ArrayLike, confidence: ArrayLike = 0.95) -> NDArray[np.float64]:
    """Return the one-sided lower bound of the probability of detection from a demonstration.

    Parameters
    ----------
    found : array_like
        Defects found [-].
    trials : array_like
        Defects shown [-].
    confidence : array_like
        One-sided confidence [-].

    Returns
    -------
    array
        Lower bound [-]; 0 when none is found.

    Notes
    -----
    It holds for defects like those shown, in size and place, and for the way they were looked at.
    """
    from scipy.special import betaincinv

    hits, shown = np.asarray(found, dtype=float), np.asarray(trials, dtype=float)
    bound = betaincinv(np.maximum(hits, 1.0), shown - hits + 1.0, 1.0 - np.asarray(confidence, dtype=float))
    return np.where(hits > 0.0, bound, 0.0)


@relation(
    id="demonstration-size",
    title="Number of defects to find without a miss in a demonstration",
    source="smallest n with share^n <= 1 - confidence; binomial law",
    provenance="derived",
    band=EXACT,
    valid={"share": (0.5, 0.9999)},
)
def demonstration_size(share: ArrayLike, confidence: ArrayLike = 0.95) -> NDArray[np.float64]:
    """Return how many defects must be shown, and all of them found, to prove a probability of detection.

    Parameters
    ----------
    share : array_like
        Probability of detection to prove [-].
    confidence : array_like
        One-sided confidence [-].

    Returns
    -------
    array
        Number of defects [-].
    """
    exact = np.log1p(-np.asarray(confidence, dtype=float)) / np.log(np.asarray(share, dtype=float))
    return np.asarray(np.ceil(exact - 1e-9))

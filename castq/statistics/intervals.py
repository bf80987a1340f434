"""Confidence intervals of sums and differences of mean squares, for variance components."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from castq.statistics.series import Array


def satterthwaite_degrees(mean_squares: Sequence[float], degrees: Sequence[float], factors: Sequence[float]) -> float:
    """Return the degrees of freedom of a combination of mean squares.

    Parameters
    ----------
    mean_squares, degrees, factors : sequence of float
        Mean squares [unit squared], their degrees of freedom [-] and factors [-].

    Returns
    -------
    float
        Degrees of freedom [-]; 0 when the combination is 0.

    Notes
    -----
    Satterthwaite 1946, Biometrics Bulletin 2:110. Good for sums; poor for differences, for which
    `combination_interval` is meant.
    """
    parts = np.asarray(factors, dtype=float) * np.asarray(mean_squares, dtype=float)
    below = float(np.sum(parts**2 / np.asarray(degrees, dtype=float)))
    return float(parts.sum() ** 2 / below) if below > 0.0 else 0.0


def combination_interval(
    mean_squares: Sequence[float], degrees: Sequence[float], factors: Sequence[float], confidence: float = 0.90
) -> tuple[float, float]:
    """Return the two-sided interval of a sum or difference of expected mean squares.

    Parameters
    ----------
    mean_squares, degrees, factors : sequence of float
        Mean squares [unit squared], their degrees of freedom [-] and factors, negative for those taken off [-].
    confidence : float
        Confidence of the two-sided interval [-].

    Returns
    -------
    tuple of float
        Lower and upper end, neither below 0 [unit squared].

    Notes
    -----
    Modified large sample (MLS) intervals: Graybill and Wang 1980, J. Am. Stat. Assoc. 75:869, for sums; Ting and
    others 1990, J. Stat. Comput. Simul. 35:135, for differences; from memory. For one mean square they are the exact
    chi-square interval.
    """
    keep = [i for i, factor in enumerate(factors) if factor != 0.0]
    parts = np.array([factors[i] * mean_squares[i] for i in keep])
    n = np.array([degrees[i] for i in keep], dtype=float)
    tail = 0.5 * (1.0 - confidence)
    plus, minus = parts > 0.0, parts < 0.0
    value = float(parts.sum())
    down = _spread(parts[plus], n[plus], -parts[minus], n[minus], tail)
    up = _spread(-parts[minus], n[minus], parts[plus], n[plus], tail)
    return max(0.0, value - np.sqrt(max(0.0, down))), max(0.0, value + np.sqrt(max(0.0, up)))


def _spread(near: Array, n_near: Array, far: Array, n_far: Array, tail: float) -> float:
    """Return the squared distance from the estimate to one end: `near` may be too large, `far` too small."""
    from scipy.stats import chi2, f

    shrink = 1.0 - n_near / chi2.ppf(1.0 - tail, n_near)
    grow = n_far / chi2.ppf(tail, n_far) - 1.0
    total = float(np.sum((shrink * near) ** 2) + np.sum((grow * far) ** 2))
    for g, a, n in zip(shrink, near, n_near, strict=True):
        quotient = f.ppf(1.0 - tail, n, n_far)
        cross = ((quotient - 1.0) ** 2 - (g * quotient) ** 2 - grow**2) / quotient
        total += float(np.sum(cross * a * far))
    return total + (_between(near, n_near, shrink, tail) if len(far) else 0.0)


def _between(parts: Array, n: Array, shrink: Array, tail: float) -> float:
    """Return the cross terms among mean squares of one sign when others stand against them."""
    from scipy.stats import chi2

    if len(parts) < 2:
        return 0.0
    total = 0.0
    for i in range(len(parts)):
        for j in range(i + 1, len(parts)):
            both = n[i] + n[j]
            joint = (1.0 - both / chi2.ppf(1.0 - tail, both)) ** 2 * both**2 / (n[i] * n[j])
            own = shrink[i] ** 2 * n[i] / n[j] + shrink[j] ** 2 * n[j] / n[i]
            total += (joint - own) * parts[i] * parts[j] / (len(parts) - 1)
    return total

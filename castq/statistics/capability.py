"""Capability of a process against a limit, with its interval, and the reasons not to state one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.errors import input_error
from castq.core.relation import EXACT, relation
from castq.statistics.series import numbers

LEAST_POINTS = 30


@relation(
    id="one-sided-capability",
    title="Capability index against an upper limit",
    source="(limit - mean) / (3 s), NIST/SEMATECH e-Handbook of Statistical Methods, section 6.1.6",
    provenance="memory",
    band=EXACT,
)
def one_sided_capability(mean: ArrayLike, deviation: ArrayLike, upper_limit: ArrayLike) -> NDArray[np.float64]:
    """Return Cpk against an upper limit alone.

    Parameters
    ----------
    mean : array_like
        Mean [any unit].
    deviation : array_like
        Standard deviation [same unit].
    upper_limit : array_like
        Upper limit [same unit].

    Returns
    -------
    array
        Index [-]: 1 when the limit lies three standard deviations above the mean.
    """
    room = np.asarray(upper_limit, dtype=float) - np.asarray(mean, dtype=float)
    return np.asarray(room / (3.0 * np.asarray(deviation, dtype=float)))


@dataclass(frozen=True, slots=True)
class Capability:
    """Capability of a process, or why none is stated.

    Attributes
    ----------
    stated : bool
        False when an index would mislead.
    why_not : str
        The reason in words; empty when stated.
    count : int
        Number of values [-].
    cpk, cpk_low, cpk_high : float
        Index against the nearer limit and its two-sided interval; NaN when not stated [-].
    cp, cp_low, cp_high : float
        Index of the spread alone, for two limits; NaN with one [-].
    beyond_share : float
        Share of values beyond the limits for a normal law; NaN when not stated [-].
    confidence : float
        Of the intervals [-].
    """

    stated: bool
    why_not: str
    count: int
    cpk: float = np.nan
    cpk_low: float = np.nan
    cpk_high: float = np.nan
    cp: float = np.nan
    cp_low: float = np.nan
    cp_high: float = np.nan
    beyond_share: float = np.nan
    confidence: float = 0.95


def capability(
    values: ArrayLike, upper: float, lower: float | None = None, in_control: bool = True, confidence: float = 0.95
) -> Capability:
    """Return the capability of a step from values of a time when it was in control.

    Parameters
    ----------
    values : array_like
        Values [any unit].
    upper : float
        Upper limit [same unit].
    lower : float or None
        Lower limit; None when there is none [same unit].
    in_control : bool
        Whether the control chart of these values shows no signal.
    confidence : float
        Confidence of the intervals [-].

    Returns
    -------
    Capability
        Indices [-], or the reason why none is stated.

    Notes
    -----
    One limit: exact interval by the non-central t law, as for a normal tolerance bound. Two limits: Bissell 1990,
    Appl. Stat. 39:331, for Cpk, chi-square for Cp. All want a normal law: give values on a scale where they are.
    """
    x = numbers(values, "capability", 1)
    if lower is not None and not lower < upper:
        raise input_error(
            "capability", "limits", f"lower {lower:g} and upper {upper:g}", "lower below upper", "swap them"
        )
    if len(x) < LEAST_POINTS:
        return Capability(False, f"fewer than {LEAST_POINTS} points (n = {len(x)})", len(x), confidence=confidence)
    if not in_control:
        return Capability(False, "the chart is not in control", len(x), confidence=confidence)
    mean, s = float(x.mean()), float(x.std(ddof=1))
    if s == 0.0:
        return Capability(False, "all values are the same", len(x), confidence=confidence)
    if lower is None:
        return _one_limit(mean, s, len(x), upper, confidence)
    return _two_limits(mean, s, len(x), (lower, upper), confidence)


def _one_limit(mean: float, s: float, n: int, upper: float, confidence: float) -> Capability:
    from scipy.special import nctdtrinc, ndtr

    cpk, tail = float(one_sided_capability(mean, s, upper)), 0.5 * (1.0 - confidence)
    scale = 3.0 * float(np.sqrt(n))
    low, high = (float(nctdtrinc(n - 1.0, p, scale * cpk) / scale) for p in (1.0 - tail, tail))
    beyond = float(ndtr(-3.0 * cpk))
    return Capability(True, "", n, cpk, low, high, beyond_share=beyond, confidence=confidence)


def _two_limits(mean: float, s: float, n: int, limits: tuple[float, float], confidence: float) -> Capability:
    from scipy.special import ndtr, ndtri
    from scipy.stats import chi2

    lower, upper = limits
    tail = 0.5 * (1.0 - confidence)
    cpk, cp = min(upper - mean, mean - lower) / (3.0 * s), (upper - lower) / (6.0 * s)
    half = float(ndtri(1.0 - tail)) * np.sqrt(1.0 / (9.0 * n) + cpk**2 / (2.0 * (n - 1.0)))
    cp_low, cp_high = (cp * float(np.sqrt(chi2.ppf(q, n - 1.0) / (n - 1.0))) for q in (tail, 1.0 - tail))
    beyond = float(ndtr((lower - mean) / s) + ndtr((mean - upper) / s))
    return Capability(True, "", n, cpk, cpk - half, cpk + half, cp, cp_low, cp_high, beyond, confidence)

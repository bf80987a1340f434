"""Agreement of raters: kappa and its kin, for tables of two raters and for several raters.

A kappa falls where nearly all cases are of one kind, however well the raters agree: show percent agreement and a
measure that does not (`prevalence_adjusted_kappa`, `gwet_agreement`) beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.errors import input_error
from castq.core.relation import EXACT, relation

Array = NDArray[np.float64]
Weights = Literal["none", "linear", "quadratic"]


@dataclass(frozen=True, slots=True)
class Agreement:
    """A measure of agreement with its interval.

    Attributes
    ----------
    name : str
        Which measure.
    value : float
        Estimate; 1 is full agreement [-].
    error : float
        Asymptotic standard error [-].
    low, high : float
        Interval, within -1 to 1 [-].
    test_z : float
        Estimate over its standard error under chance agreement; NaN where not given [-].
    """

    name: str
    value: float
    error: float
    low: float
    high: float
    test_z: float = np.nan


def _shares(table: ArrayLike) -> Array:
    """Return cell shares of square tables, the last two axes."""
    counts = np.asarray(table, dtype=float)
    if counts.ndim < 2 or counts.shape[-1] != counts.shape[-2] or counts.shape[-1] < 2:
        shape = "x".join(map(str, counts.shape))
        raise input_error("agreement", "table", f"a table of {shape}", "a square table, 2 kinds or more", "count again")
    total = counts.sum(axis=(-2, -1), keepdims=True)
    if not (np.isfinite(counts).all() and (counts >= 0.0).all() and (total > 0.0).all()):
        raise input_error(
            "agreement", "table", "holds a negative or missing count, or none at all", "counts", "recount"
        )
    return counts / total


def _weights(kinds: int, weights: Weights) -> Array:
    apart = np.abs(np.subtract.outer(np.arange(kinds), np.arange(kinds))) / (kinds - 1.0)
    return {"none": (apart == 0.0).astype(float), "linear": 1.0 - apart, "quadratic": 1.0 - apart**2}[weights]


def _over_chance(seen: Array, chance: Array) -> Array:
    """Return agreement beyond chance; NaN where chance alone gives full agreement."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(chance < 1.0, (seen - chance) / (1.0 - chance), np.nan)


@relation(
    id="percent-agreement", title="Share of cases on which two raters agree",
    source="sum of the diagonal over the sum of the table", provenance="derived", band=EXACT,
)  # fmt: skip
def percent_agreement(table: ArrayLike) -> Array:
    """Return the share of cases on the diagonal.

    Parameters
    ----------
    table : array_like (..., kinds, kinds)
        Cases by the first rater (rows) and the second (columns) [counts].

    Returns
    -------
    array
        Share [%].
    """
    return 100.0 * np.trace(_shares(table), axis1=-2, axis2=-1)


@relation(
    id="cohen-kappa", title="Cohen's kappa of two raters, plain or weighted",
    source="Cohen 1960, Educ. Psychol. Meas. 20:37; weighted: Cohen 1968, Psychol. Bull. 70:213",
    provenance="memory", band=EXACT,
)  # fmt: skip
def cohen_kappa(table: ArrayLike, weights: Weights = "none") -> Array:
    """Return the agreement of two raters beyond chance.

    Parameters
    ----------
    table : array_like (..., kinds, kinds)
        Cases by the first rater (rows) and the second (columns) [counts].
    weights : {"none", "linear", "quadratic"}
        How near misses count [-].

    Returns
    -------
    array
        Kappa [-]; NaN where both raters know one kind only.
    """
    p = _shares(table)
    w = _weights(p.shape[-1], weights)
    expected = p.sum(axis=-1)[..., :, None] * p.sum(axis=-2)[..., None, :]
    return _over_chance(np.sum(w * p, axis=(-2, -1)), np.sum(w * expected, axis=(-2, -1)))


@relation(
    id="prevalence-adjusted-kappa", title="Kappa with equal chance for every kind (PABAK)",
    source="Byrt, Bishop and Carlin 1993, J. Clin. Epidemiol. 46:423", provenance="memory", band=EXACT,
)  # fmt: skip
def prevalence_adjusted_kappa(table: ArrayLike) -> Array:
    """Return the agreement beyond the chance of raters who pick every kind equally often.

    Parameters
    ----------
    table : array_like (..., kinds, kinds)
        Cases by the first rater (rows) and the second (columns) [counts].

    Returns
    -------
    array
        Agreement [-]; 2 p - 1 for two kinds.
    """
    p = _shares(table)
    return _over_chance(np.trace(p, axis1=-2, axis2=-1), np.asarray(1.0 / p.shape[-1]))


@relation(
    id="gwet-agreement", title="Gwet's AC1 of two raters",
    source="Gwet 2008, Br. J. Math. Stat. Psychol. 61:29", provenance="memory", band=EXACT,
)  # fmt: skip
def gwet_agreement(table: ArrayLike) -> Array:
    """Return the agreement beyond a chance that stays low where one kind prevails.

    Parameters
    ----------
    table : array_like (..., kinds, kinds)
        Cases by the first rater (rows) and the second (columns) [counts].

    Returns
    -------
    array
        AC1 [-].
    """
    p = _shares(table)
    common = 0.5 * (p.sum(axis=-1) + p.sum(axis=-2))
    chance = np.sum(common * (1.0 - common), axis=-1) / (p.shape[-1] - 1.0)
    return _over_chance(np.trace(p, axis1=-2, axis2=-1), chance)


def _ratings(counts: ArrayLike) -> tuple[Array, Array, Array]:
    """Return the share of agreeing pairs in each case, the shares of the kinds, and the counts."""
    n = np.asarray(counts, dtype=float)
    raters = n.sum(axis=-1) if n.ndim >= 2 else np.zeros(1)
    if n.ndim < 2 or not (n >= 0.0).all() or raters.min() < 2.0 or np.ptp(raters) > 0.0:
        raise input_error("agreement", "counts", "cases with different numbers of raters, or fewer than two",
                          "one row a case, one column a kind, equal sums of at least 2", "leave them out")  # fmt: skip
    m = raters[..., :1]
    return np.sum(n * (n - 1.0), axis=-1) / (m * (m - 1.0)), n.mean(axis=-2) / m, n


@relation(
    id="fleiss-kappa", title="Fleiss' kappa of several raters",
    source="Fleiss 1971, Psychol. Bull. 76:378", provenance="memory", band=EXACT,
)  # fmt: skip
def fleiss_kappa(counts: ArrayLike) -> Array:
    """Return the agreement of several raters beyond chance.

    Parameters
    ----------
    counts : array_like (..., cases, kinds)
        How many raters gave each case each kind; the same number of raters for all cases [counts].

    Returns
    -------
    array
        Kappa [-].
    """
    seen, kinds, _ = _ratings(counts)
    return _over_chance(seen.mean(axis=-1), np.sum(kinds**2, axis=-1))


@relation(
    id="randolph-kappa", title="Kappa of several raters who are free in how often they use each kind",
    source="Randolph 2005, free-marginal multirater kappa", provenance="memory", band=EXACT,
)  # fmt: skip
def randolph_kappa(counts: ArrayLike) -> Array:
    """Return the agreement of several raters beyond equal chance of every kind.

    Parameters
    ----------
    counts : array_like (..., cases, kinds)
        How many raters gave each case each kind; the same number of raters for all cases [counts].

    Returns
    -------
    array
        Kappa [-].
    """
    seen, _, n = _ratings(counts)
    return _over_chance(seen.mean(axis=-1), np.asarray(1.0 / n.shape[-1]))


def _record(name: str, value: float, variance: float, confidence: float, null: float = np.nan) -> Agreement:
    from scipy.special import ndtri

    error = float(np.sqrt(max(variance, 0.0)))
    half = float(ndtri(0.5 * (1.0 + confidence))) * error
    z = value / np.sqrt(null) if null > 0.0 else np.nan
    return Agreement(name, value, error, max(-1.0, value - half), min(1.0, value + half), float(z))


def cohen_interval(table: ArrayLike, weights: Weights = "none", confidence: float = 0.95) -> Agreement:
    """Return Cohen's kappa with its standard error.

    Parameters
    ----------
    table : array_like (kinds, kinds)
        Cases by the first rater (rows) and the second (columns) [counts].
    weights : {"none", "linear", "quadratic"}
        How near misses count [-].
    confidence : float
        Confidence of the interval [-].

    Returns
    -------
    Agreement
        Kappa, standard error, interval and test of no agreement [-].

    Notes
    -----
    Fleiss, Cohen and Everitt 1969, Psychol. Bull. 72:323, from memory. Poor below some 30 cases and near 1.
    """
    p, n = _shares(table), float(np.sum(np.asarray(table, dtype=float)))
    w = _weights(len(p), weights)
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    expected = np.outer(rows, columns)
    chance, value = float(np.sum(w * expected)), float(cohen_kappa(table, weights))
    if not np.isfinite(value):
        raise input_error("agreement", "table", "both raters used one kind only", "two kinds in use", "add other cases")
    mean_weight = (w @ columns)[:, None] + (rows @ w)[None, :]
    alive = np.sum(p * (w - mean_weight * (1.0 - value)) ** 2) - (value - chance * (1.0 - value)) ** 2
    null = np.sum(expected * (w - mean_weight) ** 2) - chance**2
    scale = n * (1.0 - chance) ** 2
    return _record("Cohen's kappa", value, float(alive) / scale, confidence, float(null) / scale)


def prevalence_adjusted_interval(table: ArrayLike, confidence: float = 0.95) -> Agreement:
    """Return the prevalence-adjusted kappa with the binomial error of percent agreement.

    Parameters
    ----------
    table : array_like (kinds, kinds)
        Cases by the first rater (rows) and the second (columns) [counts].
    confidence : float
        Confidence of the interval [-].

    Returns
    -------
    Agreement
        Agreement, standard error and interval [-].
    """
    p, n = _shares(table), float(np.sum(np.asarray(table, dtype=float)))
    seen, kinds = float(np.trace(p)), len(p)
    variance = seen * (1.0 - seen) / n * (kinds / (kinds - 1.0)) ** 2
    return _record("prevalence-adjusted kappa", float(prevalence_adjusted_kappa(table)), variance, confidence)


def gwet_interval(table: ArrayLike, confidence: float = 0.95) -> Agreement:
    """Return Gwet's AC1 with its standard error.

    Parameters
    ----------
    table : array_like (kinds, kinds)
        Cases by the first rater (rows) and the second (columns) [counts].
    confidence : float
        Confidence of the interval [-].

    Returns
    -------
    Agreement
        AC1, standard error and interval [-].

    Notes
    -----
    Variance by the delta method on the cell shares, which is Gwet's (2008) without finite population.
    """
    p, n = _shares(table), float(np.sum(np.asarray(table, dtype=float)))
    kinds, value = len(p), float(gwet_agreement(table))
    common = 0.5 * (p.sum(axis=0) + p.sum(axis=1))
    chance = float(np.sum(common * (1.0 - common))) / (kinds - 1.0)
    chance_slope = (2.0 - 2.0 * common[:, None] - 2.0 * common[None, :]) / (2.0 * (kinds - 1.0))
    slope = (np.eye(kinds) - (1.0 - value) * chance_slope) / (1.0 - chance)
    variance = (float(np.sum(p * slope**2)) - float(np.sum(p * slope)) ** 2) / n
    return _record("Gwet's AC1", value, variance, confidence)

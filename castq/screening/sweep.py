"""A designed sweep: a Latin hypercube over levers, each variant solved, and what the results follow most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castq.screening.improve import CASE, Ends, Run
from castq.screening.improve_trial import Target, targets_of
from castq.screening.levers import Change, change_of
from castq.screening.outcome import NORMAL_95, SHOWN, Outcome, met
from castq.screening.variant import Basis

Array = NDArray[np.float64]
FEWEST = 8
MOST_GROUPS = 12
# A result that moves by less than this share of its mean does not vary: that is the grid's doing. Judgement.
VARIES = 0.002


@dataclass(frozen=True, slots=True)
class Effect:
    """How one result follows one lever over a sweep.

    Attributes
    ----------
    result, lever : str
        Names.
    rank_correlation : float
        Spearman's rank correlation [-].
    share : float
        Share of the result's variance that the lever alone carries (first-order effect), from the means of equal
        groups, corrected for their number [-]; scatter can take it below nought.
    """

    result: str
    lever: str
    rank_correlation: float
    share: float


@dataclass(frozen=True, slots=True, eq=False)
class Sweep:
    """A solved sweep.

    Attributes
    ----------
    basis : Basis
        What was varied.
    base : Outcome
        The case itself.
    targets : tuple of Target
        The worst zones of the case, and the whole wheel.
    ends : tuple of Ends
        Levers with their ranges.
    changes : tuple of Change
        The variants.
    results : mapping of result to array (variants,)
        Values in the unit of the name; NaN where a variant was not solved or leaves it open.
    notes : tuple of str
        Why a variant was not solved, one a variant; empty where it was.
    effects : tuple of Effect
        Largest share first within each result.
    seed : int
        Seed of the hypercube [-].
    """

    basis: Basis
    base: Outcome
    targets: tuple[Target, ...]
    ends: tuple[Ends, ...]
    changes: tuple[Change, ...]
    results: dict[str, Array]
    notes: tuple[str, ...]
    effects: tuple[Effect, ...]
    seed: int


def hypercube(ends: Sequence[Ends], count: int, seed: int) -> tuple[Change, ...]:
    """Return variants that fill the ranges evenly, lever by lever.

    Parameters
    ----------
    ends : sequence of Ends
        Levers with their ranges.
    count : int
        Number of variants [-].
    seed : int
        Seed [-].
    """
    from scipy.stats import qmc

    unit = qmc.LatinHypercube(d=len(ends), rng=np.random.default_rng(seed)).random(count)
    low = np.array([entry.low for entry in ends])
    high = np.array([entry.high for entry in ends])
    names = [entry.lever.name for entry in ends]
    return tuple(change_of(dict(zip(names, row, strict=True))) for row in low + unit * (high - low))


def sweep(basis: Basis, run: Run, ends: Sequence[Ends], *, count: int, seed: int) -> Sweep:
    """Solve a Latin hypercube of variants.

    Parameters
    ----------
    basis : Basis
        The case, its draws and its depth.
    run : callable
        Solves variants and returns their outcomes in order.
    ends : sequence of Ends
        Levers with their ranges.
    count : int
        Number of variants, beside the case itself [-].
    seed : int
        Seed of the hypercube [-].

    Returns
    -------
    Sweep
        Results of each variant, and the effect of each lever.

    Raises
    ------
    InputError
        If the case itself cannot be solved, or none of its limits is decided.
    """
    changes = hypercube(ends, count, seed)
    base, *outcomes = run([CASE, *changes])
    targets = targets_of(basis, base)
    results = results_of(outcomes, targets)
    values = {entry.lever.name: np.array([dict(c)[entry.lever.name] for c in changes]) for entry in ends}
    return Sweep(
        basis, base, targets, tuple(ends), changes, results, tuple(outcome.fault for outcome in outcomes),
        tuple(effects_of(values, results)), seed,
    )  # fmt: skip


def results_of(outcomes: Sequence[Outcome], targets: Sequence[Target]) -> dict[str, Array]:
    """Return the results of variants by name, arrays (variants,).

    Parameters
    ----------
    outcomes : sequence of Outcome
        The variants, solved.
    targets : sequence of Target
        The worst zones of the case, and the whole wheel.
    """
    results = {f"probability, {t.name}": np.array([_probability(o, t) for o in outcomes]) for t in targets}
    results["weight_kg"] = np.array([outcome.weight_kg for outcome in outcomes])
    results["solid_time_s"] = np.array([outcome.solid_time_s for outcome in outcomes])
    for target in targets[:-1]:
        for name in SHOWN:
            values = [(outcome.medians or {}).get(target.name, {}).get(name, math.nan) for outcome in outcomes]
            results[f"{name}, {target.name}"] = np.array(values)
    return {name: np.where(np.isfinite(values), values, np.nan) for name, values in results.items()}


def _probability(outcome: Outcome, target: Target) -> float:
    decided = {held.place for held in outcome.held}
    if outcome.fault or not decided.issuperset(target.places):
        return math.nan
    return float(met(outcome, target.places).mean())


def effects_of(values: dict[str, Array], results: dict[str, Array]) -> list[Effect]:
    """Return how each result follows each lever; results that do not vary are left out.

    Parameters
    ----------
    values : mapping of lever to array (variants,)
        Lever values.
    results : mapping of result to array (variants,)
        Results; NaN where not known.
    """
    found: list[Effect] = []
    for result, every in results.items():
        known = np.isfinite(every)
        y = every[known]
        if y.size < FEWEST or np.ptp(y) <= VARIES * max(abs(float(y.mean())), 1e-12):
            continue
        rows = [Effect(result, lever, rank_correlation(x[known], y), first_order(x[known], y))
                for lever, x in values.items()]  # fmt: skip
        found += sorted(rows, key=lambda effect: (-effect.share, effect.lever))
    return found


def rank_correlation(x: Array, y: Array) -> float:
    """Return Spearman's rank correlation of two arrays (n,) [-]."""
    from scipy.stats import rankdata

    a, b = rankdata(x), rankdata(y)
    a, b = a - a.mean(), b - b.mean()
    return float(f"{a @ b / math.sqrt(float(a @ a) * float(b @ b)):.10g}")


def chance(count: int) -> float:
    """Return the rank correlation that nineteen sweeps in twenty without any effect stay below [-].

    Parameters
    ----------
    count : int
        Number of variants [-].
    """
    return NORMAL_95 / math.sqrt(count - 1.0)


def first_order(x: Array, y: Array) -> float:
    """Return the share of the variance of `y` that its mean over groups of `x` carries, arrays (n,) [-].

    Parameters
    ----------
    x : array (n,)
        Lever values; they are cut into equal groups in their order.
    y : array (n,)
        Result.

    Returns
    -------
    float
        Explained share less what as many groups explain by chance (epsilon squared) [-].
    """
    groups = max(2, min(MOST_GROUPS, math.isqrt(x.size)))
    parts = np.array_split(y[np.argsort(x, kind="stable")], groups)
    between = sum(part.size * (part.mean() - y.mean()) ** 2 for part in parts)
    whole = float(((y - y.mean()) ** 2).sum())
    explained = float(between) / whole
    return float(f"{1.0 - (1.0 - explained) * (y.size - 1) / (y.size - groups):.10g}")

"""Studies of a measuring method by crossed measurements: every operator measures every part more than once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from castq.core.errors import input_error
from castq.statistics.intervals import combination_interval
from castq.statistics.series import Array

STUDY = "measurement study"
# Above this probability of the interaction's F value it is taken for chance and joined with the repeats (house habit
# of gauge studies; AIAG Measurement Systems Analysis).
POOL_ABOVE = 0.25
CATEGORY_FACTOR = 1.41


@dataclass(frozen=True, slots=True)
class AnovaRow:
    """One line of the analysis of variance: source, degrees of freedom, sum of squares and mean square."""

    source: str
    degrees: float
    sum_of_squares: float
    mean_square: float


@dataclass(frozen=True, slots=True)
class Component:
    """One part of the variance.

    Attributes
    ----------
    name : str
        What it belongs to.
    variance : float
        Estimate; a negative one is set to 0 [unit squared].
    low, high : float
        Confidence interval, widened where needed to hold the estimate; NaN when there is none [unit squared].
    share_pct : float
        Share of the total variance [%].
    """

    name: str
    variance: float
    low: float
    high: float
    share_pct: float

    @property
    def deviation(self) -> float:
        """Standard deviation [unit of the values]."""
        return float(np.sqrt(self.variance))


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """Result of a measurement study.

    Attributes
    ----------
    design : str
        `crossed`, `ranges` or `nested`.
    components : tuple of Component
        Parts of the variance and their sums, in the order in which they are best read.
    anova : tuple of AnovaRow
        Analysis of variance; empty for the study by ranges.
    distinct_categories : int
        Number of groups of parts that the method can tell apart [-].
    repeat_share_pct : tuple of float
        Share of the repeats in repeats and parts together: estimate, lower and upper end, NaN for none [%].
    confidence : float
        Of every interval [-].
    remarks : tuple of str
        How it was worked out, in words: pooling, components set to 0, what repeats hold.
    """

    design: str
    components: tuple[Component, ...]
    anova: tuple[AnovaRow, ...]
    distinct_categories: int
    repeat_share_pct: tuple[float, float, float]
    confidence: float
    remarks: tuple[str, ...]

    def component(self, name: str) -> Component:
        """Return a component by its name."""
        return next(c for c in self.components if c.name == name)


def _table(values: ArrayLike) -> Array:
    """Return parts x operators x repeats, or refuse."""
    table = np.asarray(values, dtype=float)
    if table.ndim != 3 or min(table.shape) < 2 or not np.isfinite(table).all():
        found = "x".join(map(str, table.shape))
        raise input_error(STUDY, "values", f"a table of {found}", "finite values, parts x operators x repeats, "
                          "at least 2 of each", "fill the gaps by new measurements or leave the part out")  # fmt: skip
    if float(np.ptp(table, axis=2).max()) == 0.0:
        raise all_alike()
    return table


def all_alike() -> Exception:
    """Return the refusal of repeats that do not differ at all."""
    return input_error(STUDY, "repeats", "no repeat differs from another", "repeats that differ in the last digit",
                       "note more decimals")  # fmt: skip


def components_of(named: dict[str, tuple[float, tuple[float, float]]], total: float) -> tuple[Component, ...]:
    """Return components, none negative, each with an interval that holds it."""
    rows = []
    for name, (variance, (low, high)) in named.items():
        value = max(0.0, variance)
        rows.append(Component(name, value, float(min(low, value)), float(max(high, value)), 100.0 * value / total))
    return tuple(rows)


def zeroed(named: dict[str, float]) -> tuple[str, ...]:
    """Return the sentences on components that came out negative."""
    return tuple(f"the {name} component came out below 0 and is set to 0" for name, v in named.items() if v < 0.0)


def categories(part: float, gauge: float) -> int:
    """Return how many groups of parts can be told apart, from the variances of parts and method."""
    return int(CATEGORY_FACTOR * np.sqrt(part / gauge))


def crossed(values: ArrayLike, pool_above: float | None = POOL_ABOVE, confidence: float = 0.95) -> GaugeStudy:
    """Return the crossed study by analysis of variance, operators and parts both drawn at random.

    Parameters
    ----------
    values : array_like (parts, operators, repeats)
        Measured values [any unit].
    pool_above : float or None
        The interaction is joined with the repeats when the probability of its F value lies above this; None never
        joins them [-].
    confidence : float
        Confidence of the intervals [-].

    Returns
    -------
    GaugeStudy
        Components `part`, `operator`, `interaction`, `repeatability`, `reproducibility`, `gauge`, `total`
        [unit squared].

    Notes
    -----
    Expected mean squares of the two-way random model; intervals by chi-square and modified large sample methods
    (see `combination_interval`), as Burdick, Borror and Montgomery, Design and Analysis of Gauge R&R Studies, 2005.
    """
    table = _table(values)
    rows, degrees, pooled, chance = _crossed_anova(table, pool_above)
    p, o, r = table.shape
    # Factors of the mean squares of part, operator, interaction and repeats; pooled ones are one mean square.
    interaction = (0.0, 0.0, 1 / r, -1 / r)
    factors = {
        "part": (1 / (o * r), 0.0, -1 / (o * r), 0.0),
        "operator": (0.0, 1 / (p * r), -1 / (p * r), 0.0),
        "interaction": (0.0,) * 4 if pooled else interaction,
        "repeatability": (0.0, 0.0, 0.0, 1.0),
        "reproducibility": (0.0, 1 / (p * r), (p - 1) / (p * r), -1 / r),
        "gauge": (0.0, 1 / (p * r), (p - 1) / (p * r), 1.0 - 1 / r),
        "total": (1 / (o * r), 1 / (p * r), 1 / r - 1 / (o * r) - 1 / (p * r), 1.0 - 1 / r),
    }
    squares = [row.mean_square for row in rows]
    if pooled:
        squares, degrees = squares[:2] + squares[3:], [*degrees[:2], degrees[2] + degrees[3]]
        factors = {name: (*f[:2], f[2] + f[3]) for name, f in factors.items()}
    raw = {name: float(np.dot(f, squares)) for name, f in factors.items()}
    spans = {name: combination_interval(squares, degrees, f, confidence) for name, f in factors.items()}
    part, operator, joint, own = (max(0.0, raw[n]) for n in ("part", "operator", "interaction", "repeatability"))
    sums = {**raw, "reproducibility": operator + joint, "gauge": operator + joint + own,
            "total": part + operator + joint + own}  # fmt: skip
    # Unless interaction and repeats are one, no exact law holds for the share of the repeats.
    share = (100.0 * own / (own + part), np.nan, np.nan)
    if pooled:
        share = repeat_share(squares[0] / squares[2], degrees[0], degrees[2], o * r, confidence, own / (own + part))
    single = {name: raw[name] for name in ("part", "operator", "interaction")}
    remarks = (_pool_words(chance, pooled, pool_above), *zeroed(single))
    components = components_of({name: (sums[name], spans[name]) for name in sums}, sums["total"])
    return GaugeStudy("crossed", components, rows, categories(part, sums["gauge"]), share, confidence, remarks)


def _crossed_anova(table: Array, pool_above: float | None) -> tuple[tuple[AnovaRow, ...], list[float], bool, float]:
    """Return the rows, their degrees of freedom, whether interaction and repeats are one, and the F probability."""
    from scipy.stats import f

    p, o, r = table.shape
    cells, parts, operators, grand = table.mean(2), table.mean((1, 2)), table.mean((0, 2)), table.mean()
    sums = [
        o * r * float(np.sum((parts - grand) ** 2)),
        p * r * float(np.sum((operators - grand) ** 2)),
        r * float(np.sum((cells - parts[:, None] - operators + grand) ** 2)),
        float(np.sum((table - cells[:, :, None]) ** 2)),
    ]
    degrees = [p - 1.0, o - 1.0, (p - 1.0) * (o - 1.0), p * o * (r - 1.0)]
    squares = [s / d for s, d in zip(sums, degrees, strict=True)]
    chance = float(f.sf(squares[2] / squares[3], degrees[2], degrees[3]))
    pooled = pool_above is not None and chance > pool_above
    if pooled:
        together = (sums[2] + sums[3]) / (degrees[2] + degrees[3])
        squares[2] = squares[3] = together
    names = ("part", "operator", "interaction", "repeats")
    rows = tuple(AnovaRow(*row) for row in zip(names, degrees, sums, squares, strict=True))
    return rows, degrees, pooled, chance


def _pool_words(chance: float, pooled: bool, pool_above: float | None) -> str:
    if pool_above is None:
        return (
            f"interaction kept apart from the repeats (probability of its F value {chance:.2f}; pooling not asked for)"
        )
    side = "above" if pooled else "not above"
    done = "joined with" if pooled else "kept apart from"
    return f"interaction {done} the repeats: the probability of its F value is {chance:.2f}, {side} {pool_above:g}"


def repeat_share(
    ratio: float, part_degrees: float, repeat_degrees: float, repeats: float, confidence: float, share: float
) -> tuple[float, float, float]:
    """Return the share of the repeats in repeats and parts [%], with the interval that follows from the F law."""
    from scipy.stats import f

    tail = 0.5 * (1.0 - confidence)
    bounds = [ratio / f.ppf(q, part_degrees, repeat_degrees) for q in (tail, 1.0 - tail)]
    low, high = sorted(float(100.0 / (1.0 + max(0.0, (b - 1.0) / repeats))) for b in bounds)
    estimate = 100.0 * share
    return estimate, min(low, estimate), max(high, estimate)


@cache
def range_constants(count: int) -> tuple[float, float]:
    """Return mean and standard deviation of the range of a normal sample, over sigma (d2 and d3).

    Parameters
    ----------
    count : int
        Size of the sample [-].

    Returns
    -------
    tuple of float
        d2 and d3 [-].
    """
    from scipy.special import ndtr

    x = np.linspace(-9.0, 9.0, 1801)
    step, below = x[1] - x[0], ndtr(x)
    mean = float(np.sum(1.0 - (1.0 - below) ** count - below**count) * step)
    low, high = below[:, None], below[None, :]
    both = 1.0 - high**count - (1.0 - low) ** count + np.clip(high - low, 0.0, None) ** count
    # The diagonal is a thin line of the double integral over low < high: half of it belongs to either side.
    square = 2.0 * float(np.sum(np.triu(both, 1)) + 0.5 * np.trace(both)) * step**2
    return mean, float(np.sqrt(square - mean**2))


def _one_range(count: int) -> float:
    """Return the factor d2* that turns a single range of `count` values into a standard deviation."""
    return float(np.hypot(*range_constants(count)))


def by_ranges(values: ArrayLike) -> GaugeStudy:
    """Return the crossed study by averages and ranges: quick, without interaction and without intervals.

    Parameters
    ----------
    values : array_like (parts, operators, repeats)
        Measured values [any unit].

    Returns
    -------
    GaugeStudy
        Components `part`, `operator`, `repeatability`, `gauge`, `total`; intervals NaN [unit squared].

    Notes
    -----
    Average and range method; the constants are 1/d2 for the repeats and 1/d2* = 1/sqrt(d2^2 + d3^2) for a single
    range of operators or parts, computed here from the law of the range.
    """
    table = _table(values)
    p, o, r = table.shape
    repeat = float(np.mean(np.ptp(table, axis=2))) / range_constants(r)[0]
    between = float(np.ptp(table.mean((0, 2)))) / _one_range(o)
    operator = between**2 - repeat**2 / (p * r)
    part = (float(np.ptp(table.mean((1, 2)))) / _one_range(p)) ** 2
    gauge = repeat**2 + max(0.0, operator)
    none = (np.nan, np.nan)
    named = {"part": (part, none), "operator": (operator, none), "repeatability": (repeat**2, none),
             "gauge": (gauge, none), "total": (gauge + part, none)}  # fmt: skip
    share = 100.0 * repeat**2 / (repeat**2 + part)
    components, shares = components_of(named, gauge + part), (share, np.nan, np.nan)
    return GaugeStudy("ranges", components, (), categories(part, gauge), shares, np.nan, zeroed({"operator": operator}))

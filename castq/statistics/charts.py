"""Control charts of single values: individuals, moving range, EWMA and CUSUM.

Formulas as in the NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from castq.core.errors import input_error
from castq.statistics.series import Array, Flags, numbers, positive

# Mean range of two normal values over their standard deviation, and the upper limit of that range over its mean.
MEAN_RANGE_OF_TWO = 1.128
RANGE_UPPER_OF_TWO = 3.267

BEYOND = "beyond a limit"
NEAR = "two of three close to the same limit"
ONE_SIDE = "eight in a row on one side of the centre"
RISEN = "risen"
FALLEN = "fallen"
# A CUSUM that starts again after a signal keeps this share of its decision level: if the shift goes on it signals
# soon, if not it is back at zero within a few values (fast initial response, Lucas and Crosier 1982).
HEAD_START = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """A control chart.

    Attributes
    ----------
    name : str
        Kind of chart.
    points : array
        What is plotted, one a value or group [unit of the values].
    centre, lower, upper : array
        Centre line and limits at each point [unit of the values].
    sigma : float
        Standard deviation behind the limits [unit of the values].
    signals : mapping of rule to array of bool
        For each rule, by what it says, the points that it signals.
    """

    name: str
    points: Array
    centre: Array
    lower: Array
    upper: Array
    sigma: float
    signals: Mapping[str, Flags]

    @property
    def signalled(self) -> Flags:
        """Points that any rule signals."""
        return np.logical_or.reduce(list(self.signals.values()))


@dataclass(frozen=True, slots=True, eq=False)
class Cusum:
    """A tabular CUSUM.

    Attributes
    ----------
    high, low : array
        Sums above and below the centre, both counted positive [unit of the values].
    decision : float
        Level above which a sum signals [unit of the values].
    centre, sigma : float
        Centre and standard deviation [unit of the values].
    high_since, low_since : array of int
        Index of the value with which the present run of each sum above zero began; -1 where the sum is zero. At a
        signal it is the estimate of where the change began.
    signals : mapping of rule to array of bool
        Values at which a sum lies above the decision level, `risen` and `fallen`.
    """

    high: Array
    low: Array
    decision: float
    centre: float
    sigma: float
    high_since: np.ndarray
    low_since: np.ndarray
    signals: Mapping[str, Flags]


def chart_of(name: str, points: Array, centre: ArrayLike, half: ArrayLike, sigma: float,
             ends: tuple[float, float] = (-np.inf, np.inf)) -> Chart:  # fmt: skip
    """Return a chart with limits at centre plus and minus a half width, kept within what is possible.

    Parameters
    ----------
    name : str
        Kind of chart.
    points : array
        What is plotted [any unit].
    centre, half : array_like
        Centre line and half width of the limits [same unit].
    sigma : float
        Standard deviation behind the limits [same unit].
    ends : tuple of float
        Least and greatest possible value [same unit].

    Returns
    -------
    Chart
        With the rule `beyond a limit` [same unit].
    """
    middle = np.broadcast_to(np.asarray(centre, dtype=float), points.shape)
    lower, upper = np.maximum(middle - half, ends[0]), np.minimum(middle + half, ends[1])
    return Chart(name, points, middle, lower, upper, sigma, {BEYOND: (points < lower) | (points > upper)})


def run_rules(deviates: ArrayLike) -> dict[str, Flags]:
    """Return the two run rules that castq uses beside the limits; each flags the value that completes its run.

    Parameters
    ----------
    deviates : array_like
        Values less the centre, over sigma [-].

    Returns
    -------
    dict
        Flags by rule [-].

    Notes
    -----
    Western Electric Statistical Quality Control Handbook (1956), from memory: two of three beyond 2 sigma on one
    side, eight in a row on one side. More rules find little more and raise the rate of false signals.
    """
    z = np.asarray(deviates, dtype=float)
    near = np.zeros(len(z), dtype=bool)
    row = np.zeros(len(z), dtype=bool)
    for side in (1.0, -1.0):
        beyond = side * z > 2.0
        near |= beyond & (_last(beyond, 3) >= 2)
        row |= _last(side * z > 0.0, 8) == 8
    return {NEAR: near, ONE_SIDE: row}


def _last(flags: Flags, window: int) -> np.ndarray:
    """Return how many of the last `window` flags are set, each value included."""
    total = np.concatenate([np.zeros(window, dtype=int), np.cumsum(flags)])
    return total[window:] - total[:-window]


def sigma_from_ranges(values: ArrayLike) -> float:
    """Return the standard deviation from the mean moving range of two.

    Parameters
    ----------
    values : array_like
        Values in their order [any unit].

    Returns
    -------
    float
        Standard deviation [same unit].
    """
    return float(np.mean(np.abs(np.diff(numbers(values, "moving range")))) / MEAN_RANGE_OF_TWO)


def individuals(
    values: ArrayLike, centre: float | None = None, sigma: float | None = None, width: float = 3.0
) -> Chart:
    """Return the chart of single values.

    Parameters
    ----------
    values : array_like
        Values in their order [any unit].
    centre : float or None
        Centre line; the mean when none is given [same unit].
    sigma : float or None
        Standard deviation; from the mean moving range when none is given [same unit].
    width : float
        Distance of the limits from the centre, in standard deviations [-].

    Returns
    -------
    Chart
        With limits and run rules [same unit].

    Notes
    -----
    The run rules want a symmetric spread. Values that resemble their neighbours make the moving range too small and
    the limits too narrow.
    """
    x = numbers(values, "individuals chart")
    middle = float(np.mean(x)) if centre is None else centre
    spread = sigma_from_ranges(x) if sigma is None else positive(sigma, "individuals chart", "sigma")
    chart = chart_of("individuals", x, middle, width * spread, spread)
    rules = run_rules((x - middle) / spread) if spread > 0.0 else {}
    return Chart(chart.name, x, chart.centre, chart.lower, chart.upper, spread, {**chart.signals, **rules})


def moving_range(values: ArrayLike) -> Chart:
    """Return the chart of the moving range of two; its first point belongs to the second value.

    Parameters
    ----------
    values : array_like
        Values in their order [any unit].

    Returns
    -------
    Chart
        With limits 0 and 3.267 mean ranges [same unit].
    """
    ranges = np.abs(np.diff(numbers(values, "moving range chart")))
    mean = float(np.mean(ranges))
    half = (RANGE_UPPER_OF_TWO - 1.0) * mean
    return chart_of("moving range", ranges, mean, half, mean / MEAN_RANGE_OF_TWO, (0.0, np.inf))


def ewma(
    values: ArrayLike, centre: float, sigma: float, weight: float = 0.2, width: float = 3.0, settled: bool = False
) -> Chart:
    """Return the chart of the exponentially weighted moving average.

    Parameters
    ----------
    values : array_like
        Values in their order [any unit].
    centre, sigma : float
        Centre and standard deviation of single values [same unit].
    weight : float
        Weight of the newest value, 0 to 1 [-].
    width : float
        Distance of the limits, in standard deviations of the average [-].
    settled : bool
        True for the limits of a long series throughout; false for the narrower ones of its beginning.

    Returns
    -------
    Chart
        Averages with their limits [same unit].
    """
    from scipy.signal import lfilter

    x, spread = numbers(values, "EWMA chart", 1), positive(sigma, "EWMA chart", "sigma")
    if not 0.0 < weight <= 1.0:
        raise input_error("EWMA chart", "weight", f"{weight:g} cannot be", "a number above 0, at most 1", "write 0.2")
    averages = lfilter([weight], [1.0, weight - 1.0], x - centre) + centre
    grown = 1.0 if settled else 1.0 - (1.0 - weight) ** (2.0 * np.arange(1, len(x) + 1))
    half = width * spread * np.sqrt(weight / (2.0 - weight) * grown)
    return chart_of("EWMA", np.asarray(averages, dtype=float), centre, half, spread)


def cusum(
    values: ArrayLike, centre: float, sigma: float, slack: float = 0.5, decision: float = 5.0, restart: bool = False
) -> Cusum:
    """Return the tabular CUSUM on both sides.

    Parameters
    ----------
    values : array_like
        Values in their order [any unit].
    centre, sigma : float
        Centre and standard deviation of single values [same unit].
    slack : float
        Half the shift that is to be found soonest, in standard deviations [-].
    decision : float
        Level at which a sum signals, in standard deviations [-].
    restart : bool
        True to start a sum again after each signal, at half the decision level.

    Returns
    -------
    Cusum
        Sums, signals and where the runs began [same unit].
    """
    x, spread = numbers(values, "CUSUM chart", 1), positive(sigma, "CUSUM chart", "sigma")
    level = positive(decision, "CUSUM chart", "decision") * spread
    high, high_since = _one_side(x - centre - slack * spread, level, restart)
    low, low_since = _one_side(centre - x - slack * spread, level, restart)
    signals = {RISEN: high > level, FALLEN: low > level}
    return Cusum(high, low, level, centre, spread, high_since, low_since, signals)


def _one_side(steps: Array, level: float, restart: bool) -> tuple[Array, np.ndarray]:
    """Return the sum kept above zero, and where each run above zero began."""
    sums, starts = [], []
    total, start = 0.0, -1
    # Each sum hangs on the one before and on the restart: a plain loop, 100,000 values in some 20 ms.
    for index, step in enumerate(steps.tolist()):
        total += step
        if total <= 0.0:
            total, start = 0.0, -1
        elif start < 0:
            start = index
        sums.append(total)
        starts.append(start)
        if restart and total > level:
            total = HEAD_START * level
    return np.array(sums), np.array(starts, dtype=np.int64)

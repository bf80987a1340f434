"""What samples say about hydrogen and density index: one row a melt, as arrays, so that a log is judged at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from castq.materials import alloy as find_alloy
from castq.melt import defaults
from castq.melt.types import Sample
from castq.physics.density_index import STANDARD_PRESSURE_MBAR, density_index, hydrogen_equivalent
from castq.physics.hydrogen import alloy_factor

Array = NDArray[np.float64]
MOST_SAMPLES = 30


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """Samples of some melts, each array with one row a melt; NaN stands for what was not measured.

    Attributes
    ----------
    index_pct : array (n,)
        Mean density index [%].
    index_spread_pct : array (n,)
        Standard deviation between the pairs of a melt [%]; NaN below two pairs.
    pairs : array (n,)
        Number of pairs [-].
    test_pressure_mbar : array (n,)
        Test pressure [mbar].
    reading_ml_100g : array (n,)
        Mean hydrogen reading on castq's scale of alloy factors [ml/100g].
    reading_sigma_ml_100g : array (n,)
        Standard deviation of one reading [ml/100g].
    readings : array (n,)
        Number of readings [-].
    bias_log_sigma : array (n,)
        Standard deviation of what all readings of a melt have in common, as a share [-].
    """

    index_pct: Array
    index_spread_pct: Array
    pairs: Array
    test_pressure_mbar: Array
    reading_ml_100g: Array
    reading_sigma_ml_100g: Array
    readings: Array
    bias_log_sigma: Array

    def scatter_pct(self) -> Array:
        """Return the scatter to count with: never less than the trade sees, so that chance agreement proves nothing."""
        single = np.maximum(defaults.SINGLE_PAIR_SHARE * self.index_pct, defaults.SINGLE_PAIR_POINTS)
        least = np.maximum(defaults.LEAST_PAIR_SHARE * self.index_pct, defaults.WEIGHING_POINTS)
        several = np.fmax(self.index_spread_pct, least)
        return np.where(self.pairs > 1, several, single)

    def index_error_pct(self) -> Array:
        """Return the standard error of the mean density index."""
        return self.scatter_pct() / np.sqrt(np.maximum(self.pairs, 1.0))

    def index_freedom(self) -> Array:
        """Return the degrees of freedom of that error; for a single pair it is the trade's, taken as known."""
        return np.where(self.pairs > 1, self.pairs - 1.0, 1e6)


def evidence_of(melts: Sequence[Sequence[Sample]]) -> Evidence:
    """Return the evidence of melts, each with its samples.

    Parameters
    ----------
    melts : sequence of sequence of Sample
        Samples of each melt, checked before.

    Returns
    -------
    Evidence
        One row a melt.
    """
    pairs = [
        (row, pair.in_air_g_cm3, pair.in_vacuum_g_cm3, pair.test_pressure_mbar)
        for row, samples in enumerate(melts)
        for sample in samples
        for pair in sample.pairs
    ]
    readings = [
        (
            row,
            reading.hydrogen_ml_100g,
            reading.one_sigma_ml_100g or np.nan,
            *_scale(sample.alloy, reading.alloy_factor),
        )
        for row, samples in enumerate(melts)
        for sample in samples
        for reading in sample.readings
    ]
    return _evidence(len(melts), pairs, readings)


def evidence_of_log(
    alloys: Sequence[str],
    pairs: Sequence[Sequence[Mapping[str, float]]],
    readings: Sequence[Sequence[Mapping[str, float]]],
) -> Evidence:
    """Return the evidence of the samples of a log book, from the columns of its table.

    Parameters
    ----------
    alloys : sequence of str
        Alloy of each sample.
    pairs : sequence of sequence of mapping
        Density pairs of each sample, each with the fields of `DensityPair`.
    readings : sequence of sequence of mapping
        Hydrogen readings of each sample, each with the fields of `HydrogenReading`.

    Returns
    -------
    Evidence
        One row a sample.
    """
    fields = ("in_air_g_cm3", "in_vacuum_g_cm3", "test_pressure_mbar")
    flat_pairs = [(row, *(pair[name] for name in fields)) for row, several in enumerate(pairs) for pair in several]
    flat_readings = [
        (row, reading["hydrogen_ml_100g"], reading.get("one_sigma_ml_100g") or np.nan,
         *_scale(alloys[row], reading.get("alloy_factor")))
        for row, several in enumerate(readings)
        for reading in several
    ]  # fmt: skip
    return _evidence(len(alloys), flat_pairs, flat_readings)


def evidence_of_columns(
    index_pct: Array, reading_ml_100g: Array, test_pressure_mbar: Array | float = STANDARD_PRESSURE_MBAR
) -> Evidence:
    """Return the evidence of a log with at most one pair and one reading a row, NaN where there is none.

    Parameters
    ----------
    index_pct : array (n,)
        Density index [%].
    reading_ml_100g : array (n,)
        Hydrogen reading, factor of the instrument not known [ml/100g].
    test_pressure_mbar : array (n,) or float
        Test pressure [mbar].

    Returns
    -------
    Evidence
        One row a log row.
    """
    index, reading = np.asarray(index_pct, dtype=float), np.asarray(reading_ml_100g, dtype=float)
    return Evidence(
        index,
        np.full(index.shape, np.nan),
        np.isfinite(index).astype(float),
        np.broadcast_to(np.asarray(test_pressure_mbar, dtype=float), index.shape),
        reading,
        reading_sigma(reading),
        np.isfinite(reading).astype(float),
        np.full(index.shape, defaults.UNKNOWN_FACTOR_LOG_SIGMA),
    )


def reading_sigma(hydrogen_ml_100g: Array) -> Array:
    """Return the default standard deviation of one reading [ml/100g]."""
    return np.hypot(defaults.READING_SIGMA_ML_100G, defaults.READING_SHARE * hydrogen_ml_100g)


@cache
def _scale(alloy_name: str, instrument_factor: float | None) -> tuple[float, float]:
    """Return what a reading is multiplied by to stand on castq's scale, and the spread that is left."""
    if instrument_factor is None:
        return 1.0, defaults.UNKNOWN_FACTOR_LOG_SIGMA
    nominal = find_alloy(alloy_name).nominal_wt_pct
    return float(alloy_factor(*(nominal.get(x, 0.0) for x in ("Si", "Cu", "Mg")))) / instrument_factor, 0.0


def _evidence(count: int, flat_pairs: Sequence[Sequence[float]], flat_readings: Sequence[Sequence[float]]) -> Evidence:
    """Return the means of flat tables, whose first column is the row of the melt."""
    pairs = np.array(flat_pairs, dtype=float).reshape(-1, 4)
    readings = np.array(flat_readings, dtype=float).reshape(-1, 5)
    rows = pairs[:, 0].astype(int)
    index = density_index(pairs[:, 1], pairs[:, 2])
    number, mean = _means(rows, index, count)
    spread = _means(rows, np.square(index - mean[rows]), count)[1]
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.where(number > 1, np.sqrt(spread * number / (number - 1.0)), np.nan)
    read_rows, scale = readings[:, 0].astype(int), readings[:, 3]
    read_number, read_mean = _means(read_rows, readings[:, 1] * scale, count)
    sigma = np.where(np.isnan(readings[:, 2]), reading_sigma(readings[:, 1]), readings[:, 2]) * scale
    _, variance = _means(read_rows, np.square(sigma), count)
    _, bias = _means(read_rows, readings[:, 4], count)
    pressure = _means(rows, pairs[:, 3], count)[1]
    return Evidence(mean, spread, number, pressure, read_mean, np.sqrt(variance), read_number, bias)


def _means(rows: NDArray[np.int_], values: Array, count: int) -> tuple[Array, Array]:
    """Return how many values each row has, and their mean."""
    number = np.bincount(rows, minlength=count).astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return number, np.bincount(rows, weights=values, minlength=count) / number


def hydrogen_of(evidence: Evidence) -> tuple[Array, Array]:
    """Return mean and standard deviation of hydrogen from readings and density indices together.

    Parameters
    ----------
    evidence : Evidence
        What was measured.

    Returns
    -------
    tuple of array (n,)
        Mean and standard deviation [ml/100g].

    Notes
    -----
    Each source is weighed by its precision. The band of the equivalent and the bias of the instrument do not shrink
    with the number of samples.
    """
    equivalent, error = equivalent_of(evidence)
    pair_precision = 1.0 / (defaults.EQUIVALENT_SIGMA_ML_100G**2 + np.square(error))
    shared = evidence.bias_log_sigma * evidence.reading_ml_100g
    own = np.square(evidence.reading_sigma_ml_100g) / np.maximum(evidence.readings, 1.0)
    reading_precision = 1.0 / (own + np.square(shared))
    weights = np.stack([pair_precision, reading_precision])
    values = np.stack([equivalent, evidence.reading_ml_100g])
    weights = np.where(np.isfinite(values), weights, 0.0)
    total = weights.sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(weights > 0.0, weights * values, 0.0).sum(axis=0) / total, 1.0 / np.sqrt(total)


def equivalent_of(evidence: Evidence) -> tuple[Array, Array]:
    """Return the hydrogen-equivalent of the mean density index, and what the scatter of the pairs makes of it.

    Parameters
    ----------
    evidence : Evidence
        What was measured.

    Returns
    -------
    tuple of array (n,)
        Hydrogen-equivalent and its standard error, the band of the equivalent left out [ml/100g].
    """
    index, error = np.maximum(evidence.index_pct, 0.0), evidence.index_error_pct()
    lower, middle, upper = hydrogen_equivalent(
        np.stack([np.maximum(index - error, 0.0), index, index + error]), evidence.test_pressure_mbar
    )
    return middle, 0.5 * (upper - lower)


def proven_below(evidence: Evidence, sure: float) -> Array:
    """Return the density index that the mean stays below with a certainty, by the one-sided t of the pairs [%]."""
    freedom, place = np.unique(evidence.index_freedom(), return_inverse=True)
    return evidence.index_pct + stdtrit(freedom, sure)[place] * evidence.index_error_pct()


def pairs_needed(evidence: Evidence, limit_pct: float, sure: float) -> Array:
    """Return how many pairs in all would prove the mean below a limit if they come out alike; NaN where none would.

    Parameters
    ----------
    evidence : Evidence
        What was measured.
    limit_pct : float
        Limit of the density index [%].
    sure : float
        Certainty asked for [-].

    Returns
    -------
    array (n,)
        Number of pairs [-].
    """
    numbers = np.arange(2, MOST_SAMPLES + 1)
    factors = stdtrit(numbers - 1.0, sure) / np.sqrt(numbers)
    margin = (limit_pct - evidence.index_pct) / evidence.scatter_pct()
    needed = 2.0 + np.searchsorted(-factors, -margin)
    return np.where((margin > 0.0) & (needed <= MOST_SAMPLES), needed, np.nan)


def readings_needed(evidence: Evidence, limit_ml_100g: float, sure: float) -> Array:
    """Return how many readings in all would prove hydrogen below a limit if they come out alike; NaN where none would.

    Parameters
    ----------
    evidence : Evidence
        What was measured.
    limit_ml_100g : float
        Limit of hydrogen [ml/100g].
    sure : float
        Certainty asked for [-].

    Returns
    -------
    array (n,)
        Number of readings [-].
    """
    margin = (limit_ml_100g - evidence.reading_ml_100g) / stdtrit(1e6, sure)
    room = np.square(margin) - np.square(evidence.bias_log_sigma * evidence.reading_ml_100g)
    with np.errstate(divide="ignore", invalid="ignore"):
        needed = np.ceil(np.square(evidence.reading_sigma_ml_100g) / room)
    return np.where((margin > 0.0) & (room > 0.0) & (needed <= MOST_SAMPLES), needed, np.nan)

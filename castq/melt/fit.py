"""Learn rate and floor of a furnace with its rotor from its own treatments, with what the data leave open.

Each treatment has a rate of its own around the typical one. Start hydrogen and own rate are integrated out exactly on a
grid, so that few or poor points widen the answer instead of bending it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import Fault, InputError
from castq.melt import defaults
from castq.melt.evidence import reading_sigma
from castq.melt.types import Kinetics
from castq.physics.degassing import hydrogen_after, practical_floor

Array = NDArray[np.float64]
# Before any data: typical rate of a furnace, spread between its treatments, and floor around that of the air. The tails
# of the rate are heavy (Student's t), so that a lance or a very good rotor is believed after a few treatments.
RATE_PRIOR_LOG_SIGMA = 0.33
_RATE_PRIOR_FREEDOM = 3.0
_RATE_REACH_LOG = 2.5
# The prior itself, within that reach, spreads by 0.5.
_NOTHING_LEARNT_LOG_SIGMA = 0.4
TREATMENT_PRIOR_LOG_SIGMA = 0.5
FLOOR_PRIOR_SIGMA_ML_100G = defaults.FLOOR_SIGMA_ML_100G
_LEAST_POINTS = 3
_OWN_RATE = np.log(np.geomspace(0.01, 3.0, 97))
_SPREADS = defaults.TREATMENT_LOG_SIGMA * np.exp(TREATMENT_PRIOR_LOG_SIGMA * np.linspace(-1.8, 1.8, 7))
_SPREAD_WEIGHTS = np.exp(-0.5 * np.square(np.linspace(-1.8, 1.8, 7)))
_NODES = (33, 25)
_REACH = 5.0
_POOR_FIT = 2.5
_LONGEST_RUN_MIN = 240.0
# Hydrogen moves with floor and rate; data that know no more than the prior in some direction cannot tell them apart.
_LEAST_INFORMATION = 1.0


@dataclass(frozen=True, slots=True)
class Run:
    """Hydrogen readings of one treatment.

    Attributes
    ----------
    name : str
        Which treatment.
    minutes : tuple of float
        Degassing minutes at each reading, 0 before the start [min].
    hydrogen_ml_100g : tuple of float
        Readings [ml/100g].
    one_sigma_ml_100g : tuple of float or None
        Their standard deviations [ml/100g]; none for the default of the instrument.
    """

    name: str
    minutes: tuple[float, ...]
    hydrogen_ml_100g: tuple[float, ...]
    one_sigma_ml_100g: tuple[float, ...] | None = None


@dataclass(frozen=True, slots=True)
class Residual:
    """One reading against the fit: measured and fitted [ml/100g], and their difference in standard deviations [-]."""

    run: str
    minutes: float
    measured_ml_100g: float
    fitted_ml_100g: float
    standardised: float


@dataclass(frozen=True, slots=True)
class FitResult:
    """What was learnt.

    Attributes
    ----------
    kinetics : Kinetics
        Rate and floor of the next treatment, with their spread.
    covariance : tuple of tuple of float
        Of the logarithm of the typical rate and the floor [-, ml/100g].
    typical_log_sigma : float
        Standard deviation of the logarithm of the typical rate [-].
    condition : float
        Ratio of the best known to the worst known direction of rate and floor, each in units of its prior [-].
    identified : bool
        True when the data tell both rate and floor.
    residuals : tuple of Residual
        Readings against the fit.
    warnings : tuple of str
        What deserves a look, in words.
    """

    kinetics: Kinetics
    covariance: tuple[tuple[float, float], tuple[float, float]]
    typical_log_sigma: float
    condition: float
    identified: bool
    residuals: tuple[Residual, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Posterior:
    """Means and covariance of the logarithm of the typical rate and the floor, and mean square spread of rates."""

    mean: Array
    covariance: Array
    spread_squared: float


def fit_kinetics(
    points: Sequence[Run], air_ml_100g: float | None = None, *, name: str = "fitted", furnace: str = "", rotor: str = ""
) -> FitResult:
    """Learn rate and floor from treatments of one furnace with one rotor.

    Parameters
    ----------
    points : sequence of Run
        Treatments, each with at least two readings.
    air_ml_100g : float or None
        Level that the melt goes to under its air [ml/100g]; none for that of the default air.
    name, furnace, rotor : str
        Name of the calibration, and what it belongs to.

    Returns
    -------
    FitResult
        Kinetics, residuals, and a warning where the data cannot tell rate and floor apart.

    Raises
    ------
    InputError
        If a treatment cannot be used as it stands.

    Notes
    -----
    Before the data the typical rate is 0.18 per min with a spread of 0.33 and heavy tails, the spread of treatments
    0.18 within a factor 2.5, the floor that of the air with a standard deviation of 0.015 ml/100g.
    """
    _check(points)
    floor = float(practical_floor(_default_level() if air_ml_100g is None else air_ml_100g))
    prior_mean = np.array([np.log(defaults.RATE_PER_MIN), floor])
    prior_sigma = np.array([RATE_PRIOR_LOG_SIGMA, FLOOR_PRIOR_SIGMA_ML_100G])
    prior = _Posterior(prior_mean, np.diag(np.square(prior_sigma)), 0.0)
    first = _posterior(points, prior, prior)
    # A reading that came out low must not count for more: its scatter is that of the fitted value.
    runs = [_with_scatter(run, first) for run in points]
    posterior = _posterior(runs, prior, first)
    information = _information(runs, posterior) * np.outer(prior_sigma, prior_sigma)
    weak, strong = np.linalg.eigvalsh(information)
    count = sum(len(run.minutes) for run in points)
    residuals = tuple(residual for run in runs for residual in _residuals(run, posterior))
    return FitResult(
        kinetics=replace(_kinetics(posterior), name=name, furnace=furnace, rotor=rotor, points=count),
        covariance=tuple(tuple(float(x) for x in row) for row in posterior.covariance),  # type: ignore[arg-type]
        typical_log_sigma=float(np.sqrt(posterior.covariance[0, 0])),
        condition=float(strong / max(weak, 1e-12)),
        identified=bool(weak >= _LEAST_INFORMATION),
        residuals=residuals,
        warnings=_warnings(points, posterior, weak, residuals),
    )


def _default_level() -> float:
    return defaults.air_level(defaults.DEFAULT_MELT_TEMP_C, None)


def _check(points: Sequence[Run]) -> None:
    """Raise every fault of the treatments at once."""
    faults = [fault for run in points if (fault := _run_fault(run)) is not None]
    if not points:
        faults = [Fault("treatments", "", "there is none", "at least one with two readings", "enter one")]
    if faults:
        raise InputError(faults)


def _run_fault(run: Run) -> Fault | None:
    """Return what is wrong with a treatment, if anything."""
    sigmas = run.one_sigma_ml_100g
    if len({len(run.minutes), len(run.hydrogen_ml_100g), len(run.minutes if sigmas is None else sigmas)}) > 1:
        return Fault(run.name, "hydrogen_ml_100g", "minutes and readings differ in number", "", "pair them")
    if len(set(run.minutes)) < 2:
        return Fault(run.name, "minutes", "has readings at one time only", "two times", "add one before or after")
    if list(run.minutes) != sorted(run.minutes):
        return Fault(run.name, "minutes", "run backwards", "minutes that go up from 0", "put them in order")
    if not (run.minutes[0] >= 0.0 and run.minutes[-1] <= _LONGEST_RUN_MIN):
        found = f"{run.minutes[0]:g} to {run.minutes[-1]:g} min is out of range"
        return Fault(run.name, "minutes", found, f"0 to {_LONGEST_RUN_MIN:g} min", "are they seconds?")
    if not all(0.0 < value < np.inf for value in (*run.hydrogen_ml_100g, *(sigmas or ()))):
        return Fault(run.name, "hydrogen_ml_100g", "holds a value that cannot be", "above 0", "check it")
    return None


def _arrays(run: Run) -> tuple[Array, Array, Array]:
    """Return minutes, hydrogen and standard deviations of a treatment."""
    hydrogen = np.array(run.hydrogen_ml_100g)
    sigma = reading_sigma(hydrogen) if run.one_sigma_ml_100g is None else np.array(run.one_sigma_ml_100g)
    return np.array(run.minutes), hydrogen, sigma


def _likelihood(run: Run, log_rate: Array, floor: Array) -> Array:
    """Return the likelihood of own rate and floor, the start integrated out, up to a factor (rates, floors)."""
    minutes, hydrogen, sigma = _arrays(run)
    decay = np.exp(-np.exp(log_rate)[:, None] * minutes)[:, None, :]
    above = hydrogen - floor[None, :, None]
    weight = 1.0 / np.square(sigma)
    norm = np.sum(weight * np.square(decay), axis=-1)
    overlap = np.sum(weight * decay * above, axis=-1)
    log = -0.5 * (np.sum(weight * np.square(above), axis=-1) - np.square(overlap) / norm + np.log(norm))
    return np.exp(log - log.max())


def _posterior(points: Sequence[Run], prior: _Posterior, about: _Posterior) -> _Posterior:
    """Return the posterior on a grid laid about an earlier one."""
    sigma = np.sqrt(np.diag(about.covariance))
    reach = _REACH * sigma if about is not prior else np.array([_RATE_REACH_LOG, _REACH * sigma[1]])
    low, high = about.mean - reach, about.mean + reach
    typical = np.linspace(low[0], high[0], _NODES[0])
    floor = np.linspace(max(low[1], 0.0), max(high[1], 0.01), _NODES[1])
    apart = (_OWN_RATE - typical[:, None]) / _SPREADS[:, None, None]
    kernel = np.exp(-0.5 * np.square(apart))
    kernel /= kernel.sum(axis=-1, keepdims=True) + 1e-300
    log = np.zeros((_SPREADS.size, typical.size, floor.size)) + np.log(_SPREAD_WEIGHTS)[:, None, None]
    for run in points:
        log += np.log(kernel @ _likelihood(run, _OWN_RATE, floor) + 1e-300)
    scaled = [
        (nodes - m) / s
        for nodes, m, s in zip((typical, floor), prior.mean, np.sqrt(np.diag(prior.covariance)), strict=True)
    ]
    log -= 0.5 * (_RATE_PRIOR_FREEDOM + 1.0) * np.log1p(np.square(scaled[0]) / _RATE_PRIOR_FREEDOM)[:, None]
    log -= 0.5 * np.square(scaled[1])
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    return _moments(weight, typical, floor)


def _moments(weight: Array, typical: Array, floor: Array) -> _Posterior:
    """Return means and covariance of a posterior given on a grid (spreads, rates, floors)."""
    plane = weight.sum(axis=0)
    mean = np.array([plane.sum(axis=1) @ typical, plane.sum(axis=0) @ floor])
    apart = typical - mean[0], floor - mean[1]
    cross = float(apart[0] @ plane @ apart[1])
    covariance = np.array(
        [[plane.sum(axis=1) @ np.square(apart[0]), cross], [cross, plane.sum(axis=0) @ np.square(apart[1])]]
    )
    return _Posterior(mean, covariance, float(weight.sum(axis=(1, 2)) @ np.square(_SPREADS)))


def _kinetics(posterior: _Posterior) -> Kinetics:
    """Return the kinetics of the next treatment: uncertainty of the typical rate and spread of treatments together."""
    rate_sigma = float(np.sqrt(posterior.covariance[0, 0] + posterior.spread_squared))
    floor_sigma = float(np.sqrt(posterior.covariance[1, 1]))
    return Kinetics(
        rate_per_min=float(np.exp(posterior.mean[0])),
        rate_log_sigma=rate_sigma,
        floor_ml_100g=float(posterior.mean[1]),
        floor_sigma_ml_100g=floor_sigma,
        pick_up_per_min=defaults.PICK_UP_PER_MIN,
        rate_floor_correlation=float(posterior.covariance[0, 1]) / (rate_sigma * floor_sigma),
        pick_up_log_sigma=defaults.PICK_UP_LOG_SIGMA,
        treatment_log_sigma=float(np.sqrt(posterior.spread_squared)),
    )


def _information(points: Sequence[Run], posterior: _Posterior) -> Array:
    """Return the Fisher information of the logarithm of the rate and the floor, the starts projected out (2, 2)."""
    rate, floor = float(np.exp(posterior.mean[0])), float(posterior.mean[1])
    total = np.zeros((2, 2))
    for run in points:
        minutes, hydrogen, sigma = _arrays(run)
        decay = np.exp(-rate * minutes) / sigma
        amplitude = float(decay @ ((hydrogen - floor) / sigma)) / float(decay @ decay)
        slopes = np.stack([-amplitude * rate * minutes * decay, 1.0 / sigma])
        free = slopes - np.outer(slopes @ decay, decay) / float(decay @ decay)
        total += free @ free.T
    return total


def _residuals(run: Run, posterior: _Posterior) -> list[Residual]:
    """Return the readings of a treatment against its own best rate."""
    minutes, hydrogen, sigma = _arrays(run)
    floor = float(posterior.mean[1])
    spread = max(posterior.spread_squared, 1e-6)
    odds = np.log(_likelihood(run, _OWN_RATE, np.array([floor]))[:, 0] + 1e-300)
    rate = float(np.exp(_OWN_RATE[np.argmax(odds - 0.5 * np.square(_OWN_RATE - posterior.mean[0]) / spread)]))
    decay = np.exp(-rate * minutes) / sigma
    start = floor + float(decay @ ((hydrogen - floor) / sigma)) / float(decay @ decay)
    fitted = hydrogen_after(start, floor, rate, minutes)
    rows = zip(minutes, hydrogen, fitted, (hydrogen - fitted) / sigma, strict=True)
    return [Residual(run.name, *(float(value) for value in row)) for row in rows]


def _with_scatter(run: Run, posterior: _Posterior) -> Run:
    """Return a treatment with the scatter of its fitted values, where none was stated."""
    if run.one_sigma_ml_100g is not None:
        return run
    fitted = np.array([residual.fitted_ml_100g for residual in _residuals(run, posterior)])
    return replace(run, one_sigma_ml_100g=tuple(reading_sigma(np.maximum(fitted, 0.0)).tolist()))


def _warnings(
    points: Sequence[Run], posterior: _Posterior, weak: float, residuals: Sequence[Residual]
) -> tuple[str, ...]:
    """Return what deserves a look."""
    found = []
    if len(residuals) < _LEAST_POINTS:
        found.append("Fewer than three points: the floor is that of the air, not of this furnace.")
    elif weak < _LEAST_INFORMATION:
        long = np.log(20.0) / np.exp(posterior.mean[0])
        found.append(
            "The data cannot tell rate and floor apart: read hydrogen midway and again after some "
            f"{long:.0f} min in the same treatment."
        )
    if posterior.covariance[0, 0] > np.square(_NOTHING_LEARNT_LOG_SIGMA):
        found.append("The data say next to nothing about the rate: it is still that of common practice.")
    worst = max(residuals, key=lambda residual: abs(residual.standardised))
    if abs(worst.standardised) > _POOR_FIT:
        found.append(
            f"{worst.run}: the reading at {worst.minutes:g} min lies far off the fit; look at it before you use this."
        )
    if len(points) < _LEAST_POINTS:
        found.append("Fewer than three treatments: the spread between treatments is still that of common practice.")
    return tuple(found)

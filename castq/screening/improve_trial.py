"""Variants held against the case: what a gain is measured on, how sure it is, and by what variants are ranked."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from castq.core.errors import input_error
from castq.core.nomenclature import in_words
from castq.screening.levers import Change
from castq.screening.outcome import UNKNOWN, Gain, Outcome, Place, gain_of, met
from castq.screening.variant import Basis

WORST_ZONES = 3
WHOLE = "whole wheel"
# A die stays closed, and pressure stays on, for this long after the slowest zone is solid (p90); judgement.
AFTER_SOLID_S = 10.0
# Added to a zone's probability before zones are multiplied, so that a draw or two in a hopeless zone rank nothing.
FLOOR = 0.02
SHAPE = ("spoke_thickness", "spoke_taper", "hub_fillet", "rim_fillet", "pocket_depth")


@dataclass(frozen=True, slots=True)
class Target:
    """What a gain is measured on: a worst zone, or the whole wheel.

    Attributes
    ----------
    name : str
        Name of the zone, or "whole wheel".
    places : tuple of Place
        The limits that the case decides there.
    probability : float
        Probability that all of them are met, as the case is [-].
    """

    name: str
    places: tuple[Place, ...]
    probability: float


@dataclass(frozen=True, slots=True)
class Trial:
    """A variant against the case.

    Attributes
    ----------
    change : Change
        (lever, value) pairs.
    gains : tuple of Gain
        One for each target, in their order.
    weight_kg : float
        Change of weight [kg]; NaN when it is not known.
    solid_time_s : float
        Change of the median time to solid of the zone that is solid last [s].
    solid_late_s : float
        p90 of that time itself [s].
    score : tuple of float
        What variants are ranked by: gain in the logarithm of the product of the worst zones' probabilities, so that
        the worst zone counts most; then the room won at their tightest limits [-].
    note : str
        Why it was not solved, or what it leaves open; empty otherwise.
    """

    change: Change
    gains: tuple[Gain, ...]
    weight_kg: float
    solid_time_s: float
    solid_late_s: float
    score: tuple[float, float]
    note: str

    @property
    def known(self) -> bool:
        """Whether every gain is decided."""
        return all(math.isfinite(gain.value) for gain in self.gains)


def targets_of(basis: Basis, base: Outcome) -> tuple[Target, ...]:
    """Return the worst zones, those with the lowest probability of meeting all decided limits, and the whole wheel.

    Parameters
    ----------
    basis : Basis
        The case.
    base : Outcome
        The case, solved.

    Raises
    ------
    InputError
        If it could not be solved, or no limit is decided.
    """
    name = basis.state.case.name
    if base.fault:
        raise input_error(name, "", base.fault, "", "mend the case first: castq screen shows it")
    by_zone: dict[str, list[Place]] = {}
    for held in base.held:
        by_zone.setdefault(held.zone, []).append(held.place)
    if not by_zone:
        raise input_error(name, "", "no limit is decided", "a limit to improve on", "add one under [limits]")
    zones = [_target(base, zone, places) for zone, places in by_zone.items()]
    zones.sort(key=lambda target: target.probability)
    every = [place for places in by_zone.values() for place in places]
    return (*zones[:WORST_ZONES], _target(base, WHOLE, every))


def _target(base: Outcome, name: str, places: Sequence[Place]) -> Target:
    return Target(name, tuple(places), float(met(base, places).mean()))


def gains_of(base: Outcome, outcome: Outcome, targets: Sequence[Target]) -> tuple[Gain, ...]:
    """Return what a variant gains on each target.

    Parameters
    ----------
    base, outcome : Outcome
        The case and the variant.
    targets : sequence of Target
        What gains are measured on.
    """
    return tuple(gain_of(base, outcome, target.places) for target in targets)


@dataclass(frozen=True, slots=True, eq=False)
class Judge:
    """Holds variants against the case.

    Attributes
    ----------
    base : Outcome
        The case, solved.
    targets : tuple of Target
        What gains are measured on.
    grid : tuple of Gain
        What a finer grid alone changes there; empty when not known.
    closed_s : float
        How long the cycle keeps the die closed and pressure on [s]; NaN without a cycle.
    """

    base: Outcome
    targets: tuple[Target, ...]
    grid: tuple[Gain, ...] = ()
    closed_s: float = math.nan

    def trial(self, outcome: Outcome, change: Change) -> Trial:
        """Return a variant against the case.

        Parameters
        ----------
        outcome : Outcome
            The variant, solved.
        change : Change
            The variant.
        """
        nan = math.nan
        if outcome.fault:
            unknown = (UNKNOWN,) * len(self.targets)
            return Trial(change, unknown, nan, nan, nan, (-math.inf, -math.inf), outcome.fault)
        gains = gains_of(self.base, outcome, self.targets)
        if self.grid and any(name in SHAPE for name, _ in change):
            gains = tuple(widened(gain, grid.value) for gain, grid in zip(gains, self.grid, strict=True))
        return Trial(
            change, gains, outcome.weight_kg - self.base.weight_kg, outcome.solid_time_s - self.base.solid_time_s,
            outcome.solid_late_s, self._score(gains), "; ".join(self._notes(outcome, gains)),
        )  # fmt: skip

    def _notes(self, outcome: Outcome, gains: Sequence[Gain]) -> Iterator[str]:
        open_left = dict.fromkeys(in_words(quantity) for gain in gains for quantity in gain.undecided)
        if open_left:
            yield f"leaves {', '.join(open_left)} undecided: a relation is used outside its range"
        needed = outcome.solid_late_s + AFTER_SOLID_S
        if needed > self.closed_s:
            yield f"needs the die closed and pressure on for {needed:.0f} s, the cycle gives {self.closed_s:.0f} s"

    def _score(self, gains: Sequence[Gain]) -> tuple[float, float]:
        if not all(math.isfinite(gain.value) for gain in gains):
            return -math.inf, -math.inf
        zones = list(zip(gains, self.targets, strict=True))[:-1]
        before = [target.probability + FLOOR for _, target in zones]
        won = sum(math.log((p + gain.value) / p) for p, (gain, _) in zip(before, zones, strict=True))
        return round(won, 9), sum(gain.room for gain, _ in zones)


def widened(gain: Gain, step: float) -> Gain:
    """Return a gain whose interval holds, beside the draws, a step that the grid alone may make.

    Parameters
    ----------
    gain : Gain
        As the draws have it.
    step : float
        Gain of another grid on the same shape [-]; nothing is added where it is not known.
    """
    if not math.isfinite(step):
        return gain
    low = gain.value - math.hypot(gain.value - gain.low, step)
    high = gain.value + math.hypot(gain.high - gain.value, step)
    return replace(gain, low=max(low, -1.0), high=min(high, 1.0))

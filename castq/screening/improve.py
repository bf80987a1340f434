"""Which levers move the risk of the worst zones, and how far: found by solving each variant, not by a formula.

Every variant is solved with the draws of the case itself, so that what they share cancels in a gain.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from castq.screening.improve_trial import AFTER_SOLID_S, SHAPE, WORST_ZONES, Judge, Target, Trial, gains_of, targets_of
from castq.screening.lever_table import grid_lever, levers_of
from castq.screening.levers import Change, LeftOut, Lever, change_of
from castq.screening.outcome import Gain, Outcome
from castq.screening.variant import Basis

Run = Callable[[Sequence[Change]], list[Outcome]]
# Levers that combinations are made of; judgement.
BEST_LEVERS = 6
# Levers that a combination has at most, less one.
ROUNDS = 3
FINER_GRID = 0.95
CASE: Change = ()


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """One lever with its present value, and the variants one step below and above (None: no room, or no budget)."""

    lever: Lever
    present: float
    low: Trial | None
    high: Trial | None

    @property
    def best(self) -> Trial | None:
        """The end with the larger gain."""
        ends = [trial for trial in (self.low, self.high) if trial is not None and trial.known]
        return max(ends, key=lambda trial: trial.score, default=None)

    @property
    def reach(self) -> tuple[float, float]:
        """Largest gain or loss of the score over both ends, for ranking [-]."""
        sizes = [(abs(t.score[0]), abs(t.score[1])) for t in (self.low, self.high) if t is not None and t.known]
        return max(sizes, default=(-1.0, 0.0))


@dataclass(frozen=True, slots=True, eq=False)
class Improvement:
    """Which levers move the risk of a case's worst zones.

    Attributes
    ----------
    basis : Basis
        What was varied.
    base : Outcome
        The case itself.
    targets : tuple of Target
        The worst zones, worst first, then the whole wheel.
    moved : tuple of Moved
        One for each lever, largest reach first.
    combinations : tuple of Trial
        Best first.
    left_out : tuple of LeftOut
        What the case does not have.
    grid : tuple of Gain
        What a 5 % finer grid alone changes, for each target; empty when no lever moves the shape.
    budget, used : int
        Solves allowed, and asked for [-].
    short : bool
        True when the budget ended before the plan.
    """

    basis: Basis
    base: Outcome
    targets: tuple[Target, ...]
    moved: tuple[Moved, ...]
    combinations: tuple[Trial, ...]
    left_out: tuple[LeftOut, ...]
    grid: tuple[Gain, ...]
    budget: int
    used: int
    short: bool

    @property
    def closed_s(self) -> float:
        """Shortest time the die stays closed, and pressure on, as the case is: slowest zone (p90) and margin [s]."""
        return self.base.solid_late_s + AFTER_SOLID_S


@dataclass(frozen=True, slots=True, eq=False)
class Ends:
    """A lever with the two values it is tried at."""

    lever: Lever
    low: float
    high: float


def planned_ends(basis: Basis, zones: Iterable[str], chosen: Sequence[Ends] = ()) -> tuple[Ends, ...]:
    """Return which levers are tried at which values.

    Parameters
    ----------
    basis : Basis
        The case.
    zones : iterable of str
        The worst zones; the die temperature is tried place by place in these alone.
    chosen : sequence of Ends
        What the user named; only these are tried when there are any.
    """
    if chosen:
        return tuple(chosen)
    state = basis.state
    roles = {section.role for section in state.case.sections if section.zone in set(zones)}
    every, _ = levers_of(state)
    local = {f"die_temp.{section.role}" for section in state.case.sections}
    wanted = [lever for lever in every if lever.name not in local or lever.name.removeprefix("die_temp.") in roles]
    return tuple(Ends(lever, *lever.ends(state)) for lever in wanted)


def improve(basis: Basis, run: Run, *, budget: int, chosen: Sequence[Ends] = ()) -> Improvement:
    """Find which levers move the risk of the worst zones.

    Parameters
    ----------
    basis : Basis
        The case, its draws and its depth.
    run : callable
        Solves variants and returns their outcomes in order.
    budget : int
        Most solves, the case itself among them [-].
    chosen : sequence of Ends
        Levers and values that the user named; castq's own steps without any.

    Returns
    -------
    Improvement
        Levers ranked, and the best combinations.

    Raises
    ------
    InputError
        If the case itself cannot be solved, or none of its limits is decided.
    """
    base = run([CASE])[0]
    targets = targets_of(basis, base)
    ends = planned_ends(basis, [target.name for target in targets[:-1]], chosen)
    plan = list(_one_at_a_time(basis, ends))
    grid = grid_lever(basis.state)
    finer = change_of({"voxel": FINER_GRID * grid.value(basis.state)}) if grid and _moves_shape(ends) else None
    first = ([finer] if finer else []) + plan
    kept = first[: budget - 1]
    solved = dict(zip(kept, run(kept), strict=True))
    finest = gains_of(base, solved[finer], targets) if finer in solved and finer else ()
    judge = Judge(base, targets, finest, _closed_s(basis))
    trials = {change: judge.trial(solved[change], change) for change in kept}
    moved = tuple(_moved(basis, entry, trials) for entry in ends)
    left = budget - 1 - len(kept)
    pairs, short = _combined(judge, moved, run, left)
    return Improvement(
        basis=basis, base=base, targets=targets,
        moved=tuple(sorted(moved, key=lambda m: m.reach, reverse=True)),
        combinations=tuple(sorted(pairs, key=lambda t: t.score, reverse=True)),
        left_out=levers_of(basis.state)[1],
        grid=finest,
        budget=budget, used=1 + len(kept) + len(pairs), short=short or len(kept) < len(first),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Plan:
    """How many solves a whole plan takes at most, the case itself among them, and how many rebuild the wheel."""

    solves: int
    shaping: int


def full_plan(basis: Basis, chosen: Sequence[Ends] = ()) -> Plan:
    """Return how many solves the whole plan takes at most.

    Parameters
    ----------
    basis : Basis
        The case.
    chosen : sequence of Ends
        What the user named.
    """
    zones = [section.zone for section in basis.state.case.sections]
    roles = len({section.role for section in basis.state.case.sections})
    ends = planned_ends(basis, zones, chosen)
    # The die temperature is tried in the worst zones alone.
    beyond = 0 if chosen else 2 * max(0, roles - WORST_ZONES)
    alone = list(_one_at_a_time(basis, ends))
    most = min(BEST_LEVERS, len(ends))
    combined = sum(max(0, most - 1 - wider) for wider in range(ROUNDS))
    grid = int(_moves_shape(ends))
    shaping = grid + sum(change[0][0] in SHAPE for change in alone) + grid * combined
    return Plan(1 + grid + len(alone) - beyond + combined, shaping)


def _moves_shape(ends: Iterable[Ends]) -> bool:
    """Return whether any lever rebuilds the wheel."""
    return any(entry.lever.name in SHAPE for entry in ends)


def _one_at_a_time(basis: Basis, ends: Iterable[Ends]) -> Iterable[Change]:
    for entry in ends:
        present = round(entry.lever.value(basis.state), 9)
        for value in (entry.low, entry.high):
            if value != present:
                yield change_of({entry.lever.name: value})


def _closed_s(basis: Basis) -> float:
    """Return how long the cycle keeps the die closed and pressure on [s]; NaN without a cycle."""
    cycle = basis.state.case.parts.cycle
    return math.nan if cycle is None else min(cycle.closed_s, cycle.fill_s + cycle.hold_s)


def _moved(basis: Basis, entry: Ends, trials: dict[Change, Trial]) -> Moved:
    low, high = (trials.get(change_of({entry.lever.name: value})) for value in (entry.low, entry.high))
    return Moved(entry.lever, entry.lever.value(basis.state), low, high)


def _combined(judge: Judge, moved: Iterable[Moved], run: Run, left: int) -> tuple[list[Trial], bool]:
    """Solve the best lever with each other good one, then the best pair with one more of them, and so on.

    Returns the variants, and whether the budget ended.
    """
    helpful = [m.best for m in moved if m.best is not None and m.best.score > (0.0, 0.0)]
    best = sorted(helpful, key=lambda t: t.score, reverse=True)[:BEST_LEVERS]
    so_far = best[0] if best else None
    trials: list[Trial] = []
    short = False
    for _ in range(ROUNDS):
        if so_far is None:
            break
        names = {name for name, _ in so_far.change}
        wider = [change_of(dict(so_far.change + t.change)) for t in best if t.change[0][0] not in names]
        kept = wider[: left - len(trials)]
        short |= len(kept) < len(wider)
        added = _solved(judge, run, kept)
        trials += added
        so_far = max((t for t in added if t.known), key=lambda t: t.score, default=None)
    return trials, short


def _solved(judge: Judge, run: Run, changes: Sequence[Change]) -> list[Trial]:
    outcomes = run(changes) if changes else []
    return [judge.trial(outcome, change) for change, outcome in zip(changes, outcomes, strict=True)]

"""An improvement in words and rows, the same for page, terminal and table."""

from __future__ import annotations

import math
from typing import Any

from castq.core.quantities import KINDS
from castq.report.words import DASH, number, percent, unit_text
from castq.screening.improve import Improvement, Moved
from castq.screening.improve_trial import AFTER_SOLID_S, Trial
from castq.screening.levers import Lever
from castq.screening.outcome import Gain

METHOD = (
    "Each variant was solved anew and held against the case over the same draws, so that what they share cancels. "
    "Gains are in percentage points of the probability that every decided limit of a zone is met; beside each stands "
    "the 95 % interval for this number of draws, for changes of shape widened by what a 5 % finer grid alone changes; "
    "a bare 0 says that nothing changed at all. The uncertainty of the relations is in the probabilities themselves. "
    "Ranked by the product of the worst zones' probabilities, so that the worst one counts most."
)


def unit_of_lever(lever: Lever) -> str:
    """Return the unit of a lever as people write it."""
    return unit_text(KINDS[lever.kind].base)


def setting(lever: Lever, value: float) -> str:
    """Return a lever value with its unit."""
    return f"{float(f'{value:.4g}'):g} {unit_of_lever(lever)}"


def points(gain: Gain) -> str:
    """Return a gain in percentage points, signed; a dash where it is not decided, 0 only where nothing changed."""
    if not math.isfinite(gain.value):
        return DASH
    if gain.value == gain.low == gain.high == 0.0:
        return "0"
    return signed(100.0 * gain.value, 1, nought="0.0")


def interval(gain: Gain) -> str:
    """Return the interval of a gain in percentage points; empty where it is exact or not decided."""
    if not math.isfinite(gain.value) or gain.low == gain.high:
        return ""
    return " to ".join(signed(100.0 * end, 1, nought="0.0") for end in (gain.low, gain.high))


def signed(value: float, digits: int = 2, nought: str = "0") -> str:
    """Return a change with its sign; `nought` for none, a dash when it is not known."""
    if not math.isfinite(value):
        return DASH
    text = f"{value:+.{digits}f}"
    return text if float(text) else nought


def settings_of(result: Improvement, trial: Trial) -> str:
    """Return what a variant changes, in words."""
    levers = {moved.lever.name: moved.lever for moved in result.moved}
    return ", ".join(
        f"{levers[name].label.lower()} {setting(levers[name], value)}" for name, value in trial.change
    )  # fmt: skip


def sure(gain: Gain) -> bool:
    """Return whether a gain is more than scatter."""
    return math.isfinite(gain.value) and gain.low > 0.0


def helps(result: Improvement) -> bool:
    """Return whether any variant surely helps any worst zone or the wheel."""
    return any(sure(gain) for trial in _every(result) for gain in trial.gains)


def _every(result: Improvement) -> list[Trial]:
    ends = [trial for moved in result.moved for trial in (moved.low, moved.high) if trial is not None]
    return [*ends, *result.combinations]


def headline(result: Improvement) -> str:
    """Return in two sentences how the worst zone stands, and the best of what was tried."""
    worst = result.targets[0]
    now = f"The worst zone, {worst.name}, meets all its limits in {percent(worst.probability)} of the draws."
    tried = [trial for trial in _every(result) if trial.known and any(map(sure, trial.gains))]
    best = max(tried, key=lambda trial: trial.score, default=None)
    if best is None or best.score <= (0.0, 0.0):
        return f"{now} Nothing tried here surely helps."
    whole = result.targets[-1]
    after = [percent(min(max(t.probability + g.value, 0.0), 1.0))
             for t, g in zip((worst, whole), (best.gains[0], best.gains[-1]), strict=True)]  # fmt: skip
    return (
        f"{now} Best of what was tried: {settings_of(result, best)}, with {after[0]} there and "
        f"{after[1]} for the {whole.name} ({percent(whole.probability)} now)."
    )


def trial_row(result: Improvement, trial: Trial, what: str) -> dict[str, Any]:
    """Return a variant as texts.

    Parameters
    ----------
    result : Improvement
        The result it belongs to.
    trial : Trial
        The variant.
    what : str
        What it changes, in words.
    """
    gains = [{"text": points(g), "interval": interval(g), "sure": sure(g), "loss": g.high < 0.0} for g in trial.gains]
    return {
        "what": what, "gains": gains, "weight": signed(trial.weight_kg, 3), "time": signed(trial.solid_time_s, 1),
        "closed": number(trial.solid_late_s + AFTER_SOLID_S), "note": trial.note,
    }  # fmt: skip


def lever_rows(result: Improvement) -> list[dict[str, Any]]:
    """Return one row a lever: its present value, both ends, cost and hazard, as texts."""
    rows = []
    for moved in result.moved:
        ends = [trial_row(result, t, setting(moved.lever, t.change[0][1]))
                for t in (moved.low, moved.high) if t is not None]  # fmt: skip
        rows.append({"label": moved.lever.label, "present": setting(moved.lever, moved.present), "ends": ends,
                     "moves": moved.lever.moves, "cost": moved.lever.cost, "hazard": moved.lever.hazard})  # fmt: skip
    return rows


def combination_rows(result: Improvement) -> list[dict[str, Any]]:
    """Return one row a combination, best first, as texts."""
    return [trial_row(result, trial, settings_of(result, trial)) for trial in result.combinations]


def hazards(result: Improvement) -> list[str]:
    """Return what is dangerous about the levers tried, each sentence once."""
    return list(dict.fromkeys(moved.lever.hazard for moved in result.moved if moved.lever.hazard))


def notes(result: Improvement) -> list[str]:
    """Return what a reader must know about this result beside the numbers."""
    base = result.base
    found = [
        f"As the case is, the slowest zone is {base.last_zone}, solid after {number(base.solid_time_s)} s (p90 "
        f"{number(base.solid_late_s)} s): keep the die closed and the pressure on for at least "
        f"{number(result.closed_s)} s, {AFTER_SOLID_S:g} s beyond the p90, and longer where your procedure says so."
    ]
    if result.grid:
        steps = ", ".join(f"{t.name} {points(g)}" for t, g in zip(result.targets, result.grid, strict=True))
        found.append(f"A 5 % finer grid on the same wheel changes, in percentage points: {steps}.")
    if result.short:
        found.append(f"The budget of {result.budget} solves ended before the plan: a larger --budget tries more.")
    return found


def widest(moved: Moved) -> float:
    """Return the largest reach of a lever's intervals over the targets, in percentage points."""
    gains = [gain for trial in (moved.low, moved.high) if trial is not None for gain in trial.gains]
    ends = [abs(end) for gain in gains if math.isfinite(gain.value) for end in (gain.low, gain.high)]
    return 100.0 * max(ends, default=0.0)

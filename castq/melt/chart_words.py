"""The signals of a chart in plain words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from castq.melt.chart_types import ChartRules, Departure, Quantity, State
from castq.melt.sample_times import Times, day_words, time_words
from castq.statistics.capability import Capability

if TYPE_CHECKING:
    from collections.abc import Sequence

COUNT_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def group_words(furnace: str, shift: str) -> str:
    """Return the name of a group: `furnace 2, late shift`."""
    name = furnace if furnace.casefold().startswith("furnace") else f"furnace {furnace}"
    return f"{name}, {shift}" if shift else name


def value_words(value: float, quantity: Quantity) -> str:
    """Return a value with its unit, two significant digits below 10."""
    digits = max(0, 1 - math.floor(math.log10(abs(value)))) if value else 1
    return f"{value:.{min(digits, 3)}f} {quantity.unit}"


def too_few(count: int, least: int) -> str:
    """Return the sentence for a group that is too small."""
    return f"too few samples: {count} of {least}"


def told(departures: Sequence[Departure], local: Times, rules: ChartRules, now: np.datetime64) -> list[Departure]:
    """Return the departures worth telling now: open or of the last days, far values not inside a drift."""
    since = now - np.timedelta64(round(rules.recent_days * 1440), "m")
    recent = [d for d in departures if d.open or local[d.last] > since]
    drifts = [d for d in recent if d.kind.startswith("drifted")]
    far = [d for d in recent if not d.kind.startswith("drifted")]
    alone = [f for f in far if not any(d.first <= f.first <= d.last for d in drifts)]
    return [d for d in drifts if d.open] + alone + [d for d in drifts if not d.open]


def signal_words(
    departures: Sequence[Departure], quantity: Quantity, centre: float, local: Times, now: np.datetime64
) -> tuple[State, str]:
    """Return the state and the words for the departures that are told.

    Parameters
    ----------
    departures : sequence of Departure
        As `told` gives them.
    quantity : Quantity
        What is charted.
    centre : float
        Centre of the chart [unit of the quantity].
    local : array of datetime64
        Times of the samples on the plant's clock.
    now : datetime64
        From when it is seen, on the plant's clock.

    Returns
    -------
    tuple
        State and words.
    """
    if not departures:
        return "steady", f"{quantity.label} steady"
    parts = [_drift_words(d, quantity, centre, local, now) for d in departures if d.kind.startswith("drifted")]
    for kind in ("far above", "far below"):
        of_kind = [d for d in departures if d.kind == kind]
        if of_kind:
            at = len([d for d in departures if d.kind.startswith("drifted") and d.open])
            parts.insert(at, _far_words(of_kind, quantity, local, now))
    first = departures[0]
    state: State = first.kind if first.open or not first.kind.startswith("drifted") else "back"
    return state, "; ".join(parts)


def _drift_words(d: Departure, quantity: Quantity, centre: float, local: Times, now: np.datetime64) -> str:
    way = d.kind.removeprefix("drifted ")
    change = f"(about {value_words(d.level, quantity)}, was {value_words(centre, quantity)})"
    start = time_words(local[d.first], now)
    if d.open:
        return f"{quantity.label} has drifted {way} since {start} {change}"
    return f"{quantity.label} was {way} from {start} to {time_words(local[d.last], now)} {change}, and is back"


def _far_words(far: Sequence[Departure], quantity: Quantity, local: Times, now: np.datetime64) -> str:
    side = far[0].kind
    count = COUNT_WORDS[len(far)] if len(far) < len(COUNT_WORDS) else str(len(far))
    sample = "sample" if len(far) == 1 else "samples"
    last = far[-1]
    when = f"{'last ' if len(far) > 1 else ''}{time_words(local[last.first], now)}"
    return f"{count} {quantity.label} {sample} {side} the rest ({value_words(last.level, quantity)}, {when})"


def baseline_words(
    count: int, left_out: int, widening: float, local: Times, likeness: float | None, rules: ChartRules
) -> str:
    """Return what the limits rest on, in words; `likeness` is None where samples do not resemble the one before."""
    alike = "samples do not resemble the one before"
    if likeness is not None:
        alike = f"each sample resembles the one before (correlation {likeness:.2f}): allowed for, but signals may "
        alike += "come a little more often"
    days = " to ".join(dict.fromkeys((day_words(local[0]), day_words(local[count - 1]))))
    out = f", {left_out} of them left out as far from the rest" if left_out else ""
    return (
        f"limits from the first {count} samples ({days}){out}: {rules.width:g} standard deviations, "
        f"widened by {100 * (widening - 1):.0f} % because the samples are few; {alike}"
    )


def capability_words(result: Capability, group: str, quantity: Quantity, limit: float) -> str:
    """Return the capability in one sentence."""
    against = f"{group}: capability against {quantity.label} {limit:g} {quantity.unit}"
    if not result.stated:
        return f"{against} is not stated: {result.why_not}"
    share = 100.0 * result.beyond_share
    above = "fewer than 0.01 %" if share < 0.01 else f"about {share:.2g} %"
    return (
        f"{against} is Cpk {result.cpk:.2f} ({100 * result.confidence:.0f} % interval {result.cpk_low:.2f} to "
        f"{result.cpk_high:.2f}, newest {result.count} samples): {above} of samples above the limit"
    )

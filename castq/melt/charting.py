"""Control charts of density index and hydrogen by furnace and shift, with their signals in words.

Each value is charted on a scale on which its scatter is even, and drawn in its own unit. Limits come from the first
samples of a group. Drifts are found by a CUSUM that starts again after each signal, with values beyond the limits
taken as at the limit, so that one bad sample is not called a drift.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import input_error
from castq.melt.chart_types import (
    QUANTITIES,
    Array,
    Baseline,
    ChartBook,
    ChartRules,
    Departure,
    GroupChart,
    Quantity,
)
from castq.melt.chart_words import baseline_words, capability_words, group_words, signal_words, told, too_few
from castq.melt.sample_times import Times, sample_times, shifts_of, time_words
from castq.statistics.capability import Capability, capability
from castq.statistics.charts import FALLEN, RISEN, cusum, ewma, sigma_from_ranges

if TYPE_CHECKING:
    from pandas import DataFrame

# The names of a column, and for each row the index of its name.
Coded = tuple[tuple[str, ...], NDArray[np.intp]]
# Degrees of freedom of a standard deviation from the mean moving range, over those of the plain one; practice.
RANGE_EFFICIENCY = 0.62


def chart_samples(
    frame: DataFrame, rules: ChartRules | None = None, by: Literal["furnace", "shift", "both"] = "both"
) -> ChartBook:
    """Return the charts of judged samples by furnace and, within it, by shift.

    Parameters
    ----------
    frame : DataFrame
        One row a sample: `at` (with offset), `furnace`, `density_index_pct` [%] or `hydrogen_ml_100g` [ml/100g] or
        both; optional `sequence`, `shift`, `after`, `at_offset_s` [s] where `at` is in UTC, and `test_pressure_mbar`
        [mbar]: density indices of another pressure than the most frequent one are left out. So are empty cells.
    rules : ChartRules or None
        How to chart; the defaults when None.
    by : {"furnace", "shift", "both"}
        Groups to chart: furnaces, shifts of furnaces, or both.

    Returns
    -------
    ChartBook
        Charts with their words.
    """
    rules = rules or ChartRules()
    quantities = [q for q in QUANTITIES if q.name in frame.columns]
    missing = [name for name in ("at", "furnace") if name not in frame.columns]
    if missing or not quantities:
        wanted = missing[0] if missing else "density_index_pct or hydrogen_ml_100g"
        raise input_error("samples", wanted, "no such column", "at, furnace and a measured quantity", "add the column")
    table, notes = _ordered(frame, rules)
    groups = [
        _chart(table, rows, furnace, shift, quantity, rules)
        for quantity in quantities
        for furnace, shift, rows in _groups(table, quantity, by)
    ]
    return ChartBook(tuple(groups), notes)


class _Table:
    """Columns of the samples to chart, in the order in which they were taken."""

    def __init__(self, frame: DataFrame, rules: ChartRules) -> None:
        times = sample_times(frame["at"], frame["at_offset_s"] if "at_offset_s" in frame.columns else None)
        count = len(frame)
        sequence = frame["sequence"].to_numpy() if "sequence" in frame.columns else np.arange(1, count + 1)
        order = np.lexsort((sequence, times.utc))
        self.utc, self.local = times.utc[order], times.local[order]
        self.sequence = sequence[order].astype(np.int64)
        self.late = int(np.sum(np.diff(self.sequence) < 0))
        self.furnace = _coded(frame["furnace"].astype(str).to_numpy()[order])
        given = frame["shift"].astype(str).to_numpy()[order] if "shift" in frame.columns else None
        self.shift = _coded(shifts_of(self.local, rules.shifts) if given is None else given)
        self.values = {q.name: _measured(frame, q)[order] for q in QUANTITIES if q.name in frame.columns}


def _coded(names: NDArray[Any]) -> Coded:
    """Return the names that occur, in order, and for each row the index of its name."""
    import pandas as pd

    codes, found = pd.factorize(names, sort=True)
    return tuple(map(str, found)), codes


def _measured(frame: DataFrame, quantity: Quantity) -> Array:
    import pandas as pd

    try:
        values = pd.to_numeric(frame[quantity.name]).to_numpy(dtype=float)
    except (ValueError, TypeError):
        found, expected = "holds something that is not a number", f"numbers in {quantity.unit}"
        raise input_error("samples", quantity.name, found, expected, "mend the column") from None
    if np.isinf(values).any():
        raise input_error("samples", quantity.name, "holds an infinite value", "", "mend the column")
    return values


def _ordered(frame: DataFrame, rules: ChartRules) -> tuple[_Table, tuple[str, ...]]:
    """Return the samples to chart in order of time, and remarks on what was left out or came late."""
    notes = []
    if "after" in frame.columns:
        kept = frame["after"].fillna("").isin(rules.after)
        if not kept.all():
            notes.append(f"not charted: {int((~kept).sum())} taken before treatment or in holding")
        frame = frame[kept]
    if "test_pressure_mbar" in frame.columns and "density_index_pct" in frame.columns:
        frame, other = _one_pressure(frame)
        notes += other
    table = _Table(frame, rules)
    if table.late:
        notes.append(f"logged out of order, charted by the time taken: {table.late}")
    return table, tuple(notes)


def _one_pressure(frame: DataFrame) -> tuple[DataFrame, list[str]]:
    """Return the samples with density indices of the most frequent test pressure only: others do not compare."""
    measured = frame["density_index_pct"].notna()
    common = frame.loc[measured, "test_pressure_mbar"].mode()
    if not len(common):
        return frame, []
    other = measured & (frame["test_pressure_mbar"] != common[0])
    if not other.any():
        return frame, []
    kept = frame.assign(density_index_pct=frame["density_index_pct"].mask(other))
    return kept, [f"not charted: {int(other.sum())} density indices at another pressure than {common[0]:g} mbar"]


def _groups(table: _Table, quantity: Quantity, by: str) -> Iterator[tuple[str, str, NDArray[np.intp]]]:
    """Yield furnace, shift (empty for all) and the rows of each group that have a value."""
    known = np.flatnonzero(np.isfinite(table.values[quantity.name]))
    if not len(known):
        return
    if by != "shift":
        yield from ((furnace, "", rows) for furnace, rows in _split(table.furnace, known))
    if by != "furnace":
        for furnace, rows in _split(table.furnace, known):
            yield from ((furnace, shift, part) for shift, part in _split(table.shift, rows))


def _split(coded: Coded, rows: NDArray[np.intp]) -> Iterator[tuple[str, NDArray[np.intp]]]:
    names, codes = coded
    order = np.argsort(codes[rows], kind="stable")
    cuts = np.searchsorted(codes[rows][order], np.arange(1, len(names)))
    for name, part in zip(names, np.split(rows[order], cuts), strict=True):
        if len(part):
            yield name, part


def _chart(
    table: _Table, rows: NDArray[np.intp], furnace: str, shift: str, quantity: Quantity, rules: ChartRules
) -> GroupChart:
    """Return the chart of one group."""
    values, local = table.values[quantity.name][rows], table.local[rows]
    name, now = group_words(furnace, shift), table.local[-1]
    blank = GroupChart(furnace, shift, quantity, "too few", "", table.utc[rows], local, table.sequence[rows], values)
    if len(rows) < rules.least:
        words = f"{name}: {quantity.label}, {too_few(len(rows), rules.least)}"
        return replace(blank, words=words)
    evened = quantity.even(values)
    base = _baseline(evened, local, rules)
    if base.sigma == 0.0:
        words = f"{name}: {quantity.label} not charted, the first values are all the same; note more decimals"
        return replace(blank, state="not charted", words=words)
    half = rules.width * base.sigma
    centre, lower, upper = (float(quantity.back(base.centre + step)) for step in (0.0, -half, half))
    average = ewma(evened, base.centre, base.sigma, rules.weight, rules.width)
    departures = _departures(evened, values, base, rules)
    state, words = signal_words(told(departures, local, rules, now), quantity, centre, local, now)
    if now - local[-1] > np.timedelta64(round(rules.recent_days * 1440), "m"):
        state, words = "no recent sample", f"no {quantity.label} sample since {time_words(local[-1], now)}"
    able, able_words = _capability(evened, departures, quantity, name, rules)
    return replace(
        blank, state=state, words=f"{name}: {words}", centre=centre, lower=lower, upper=upper,
        average=quantity.back(average.points), average_lower=quantity.back(average.lower),
        average_upper=quantity.back(average.upper), beyond=np.abs(evened - base.centre) > half, baseline=base,
        departures=departures, capability=able, capability_words=able_words,
    )  # fmt: skip


def _baseline(evened: Array, local: Times, rules: ChartRules) -> Baseline:
    """Return centre and spread of the first samples, once without those that lie far from the rest."""
    count = min(rules.baseline, max(rules.least, len(evened) // 2))
    first = evened[:count]
    kept = first[np.abs(first - np.median(first)) <= rules.width * max(sigma_from_ranges(first), 1e-12)]
    used = kept if len(kept) >= rules.least // 2 else first
    deviation, centre = float(used.std(ddof=1)), float(used.mean())
    likeness = _likeness(used)
    alike = likeness > 1.0 / np.sqrt(len(used))
    # Where neighbours resemble each other their range is too small, and the plain standard deviation is nearer.
    sigma = max(deviation, sigma_from_ranges(used)) if alike else sigma_from_ranges(used)
    sigma = 0.0 if float(np.ptp(used)) == 0.0 else sigma
    degrees = (len(used) - 1.0) * (1.0 if alike else RANGE_EFFICIENCY)
    widening = _widening(rules.width, degrees, len(used))
    words = baseline_words(count, count - len(used), widening, local, likeness if alike else None, rules)
    drift = _drift_widening(likeness, len(used)) if alike else 1.0
    return Baseline(count, count - len(used), centre, sigma * widening, widening, likeness, bool(alike), drift, words)


def _likeness(values: Array) -> float:
    """Return the correlation of each value with the one before it."""
    off = values - values.mean()
    whole = float(np.sum(off**2))
    return float(np.sum(off[1:] * off[:-1]) / whole) if whole > 0.0 else 0.0


def _drift_widening(likeness: float, count: int) -> float:
    """Return how much faster a sum of values wanders when each resembles the one before (first-order process).

    The correlation found in few values is too small on average (Kendall 1954, Biometrika 41:403) and is mended first.
    """
    mended = min(0.95, likeness + (1.0 + 4.0 * likeness) / count)
    return float(np.sqrt((1.0 + mended) / (1.0 - mended)))


def _widening(width: float, degrees: float, count: int) -> float:
    """Return the factor that gives limits from few samples the false-signal rate of known ones (Student's law)."""
    from scipy.special import ndtr, stdtrit

    known = float(stdtrit(degrees, float(ndtr(width))))
    return known * float(np.sqrt(1.0 + 1.0 / count)) / width


def _departures(evened: Array, values: Array, base: Baseline, rules: ChartRules) -> tuple[Departure, ...]:
    """Return drifts and far values, oldest first."""
    half = rules.width * base.sigma
    off = evened - base.centre
    wander = base.sigma * base.drift_widening
    sums = cusum(np.clip(off, -half, half), 0.0, wander, rules.slack, rules.decision, restart=True)
    up = _drifts("drifted up", sums.signals[RISEN], sums.high_since, values)
    down = _drifts("drifted down", sums.signals[FALLEN], sums.low_since, values)
    newest = len(values) - 1
    far = [
        Departure("far above" if off[i] > 0.0 else "far below", i, i, i, i == newest, float(values[i]))
        for i in np.flatnonzero(np.abs(off) > half).tolist()
    ]
    return tuple(sorted([*up, *down, *far], key=lambda d: (d.first, d.found)))


def _drifts(
    kind: Literal["drifted up", "drifted down"], signals: NDArray[np.bool_], since: NDArray[np.int64], values: Array
) -> list[Departure]:
    """Return one drift for each run of the sum above zero in which it signalled."""
    found = np.flatnonzero(signals)
    if not len(found):
        return []
    starts, first_signal = np.unique(since[found], return_index=True)
    # A run ends before the next sample at which the sum is back at zero.
    at_zero = np.append(np.flatnonzero(since < 0), len(values))
    ends = at_zero[np.searchsorted(at_zero, found[first_signal])] - 1
    newest = len(values) - 1
    return [
        Departure(kind, int(a), int(b), int(c), bool(c == newest), float(np.median(values[a : c + 1])))
        for a, b, c in zip(starts, found[first_signal], ends, strict=True)
    ]


def _capability(
    evened: Array, departures: tuple[Departure, ...], quantity: Quantity, name: str, rules: ChartRules
) -> tuple[Capability | None, str]:
    """Return the capability of the newest samples and its sentence."""
    limit = rules.upper_limits.get(quantity.name)
    if limit is None:
        return None, ""
    start = max(0, len(evened) - rules.newest)
    in_control = all(d.last < start for d in departures)
    result = capability(evened[start:], float(quantity.even(limit)), in_control=in_control)
    return result, capability_words(result, name, quantity, limit)

"""The samples of the last day as a drawing that is read at arm's length, on a phone as on a tablet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from castq.melt.chart_types import GroupChart, Quantity
from castq.melt.chart_words import value_words
from castq.page.desk import DAY, Taken

WIDTH, HEIGHT = 480.0, 300.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 52.0, 22.0, 26.0, 34.0
SHAPES: Final = {"before treatment": "triangle", "after treatment": "circle", "holding": "square", "": "circle"}
_STEPS: Final = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Mark:
    """A sample in the drawing: place [drawing units], shape, whether it is the one shown, and its words."""

    x: float
    y: float
    shape: str
    this: bool
    words: str


@dataclass(frozen=True, slots=True)
class Line:
    """A level across the drawing: place [drawing units], kind, and its words."""

    y: float
    kind: str
    words: str


@dataclass(frozen=True, slots=True)
class DayChart:
    """One quantity of one furnace over the last day, in places of the drawing.

    Attributes
    ----------
    title, words : str
        What is drawn, and what it says: for those who do not see it too.
    marks : tuple of Mark
        Samples.
    lines : tuple of Line
        Limit of the target, and limits of the furnace's own past.
    hours, values : tuple
        Place and words of each tick.
    state : str
        State of the control chart, empty without one.
    shapes : tuple of str
        Places in the work that occur, for the key.
    """

    title: str
    words: str
    marks: tuple[Mark, ...]
    lines: tuple[Line, ...]
    hours: tuple[tuple[float, str], ...]
    values: tuple[tuple[float, str], ...]
    state: str
    shapes: tuple[str, ...]


def day_chart(
    samples: Sequence[Taken],
    quantity: Quantity,
    now: datetime,
    *,
    limit: float | None = None,
    past: GroupChart | None = None,
    shown: int | None = None,
) -> DayChart | None:
    """Return the drawing of the last day; none when the quantity was not measured.

    Parameters
    ----------
    samples : sequence of Taken
        Samples of one furnace.
    quantity : Quantity
        What is drawn.
    now : datetime
        Right edge, on the plant's clock.
    limit : float or None
        Limit of the target [unit of the quantity].
    past : GroupChart or None
        Control chart of the last weeks.
    shown : int or None
        Row of the sample that is marked out.
    """
    measured = [(one, value) for one in samples if (value := one.value(quantity.name)) is not None]
    if not measured:
        return None
    levels = _levels(quantity, limit, past)
    top = 1.12 * max([value for _, value in measured] + [level for level, _, _ in levels])
    start = now - DAY
    step = _step(top)

    def across(moment: datetime) -> float:
        return _LEFT + (WIDTH - _LEFT - _RIGHT) * float(np.clip((moment - start) / DAY, 0.0, 1.0))

    def up(value: float) -> float:
        return HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * value / top

    marks = [
        Mark(across(one.at), up(value), SHAPES[one.sample.after], one.entry.sequence == shown,
             f"{one.at:%H:%M}, {value_words(value, quantity)}, {one.sample.after or 'not noted'}")
        for one, value in sorted(measured, key=lambda m: m[0].entry.sequence == shown)
    ]  # fmt: skip
    digits = max(0, -int(np.floor(np.log10(step) + 1e-9)) + (1 if f"{step:.6g}".endswith("25") else 0))
    ticks = np.arange(0.0, top, step).tolist()
    return DayChart(
        f"{quantity.label[:1].upper()}{quantity.label[1:]} [{quantity.unit}], last 24 hours",
        _words(measured, quantity, past),
        tuple(marks),
        tuple(Line(up(value), kind, words) for value, kind, words in levels),
        _hours(start, across),
        tuple((up(value), f"{value:.{digits}f}") for value in ticks),
        past.state if past else "",
        tuple(dict.fromkeys(one.sample.after for one, _ in measured)),
    )


def _levels(quantity: Quantity, limit: float | None, past: GroupChart | None) -> list[tuple[float, str, str]]:
    levels = [] if limit is None else [(limit, "limit", f"limit {value_words(limit, quantity)}")]
    if past is not None and past.upper > 0.0:
        levels.append((past.upper, "usual", f"usual up to {value_words(past.upper, quantity)}"))
    return levels


def _step(top: float) -> float:
    """Return a round distance between ticks that gives three to six of them."""
    size = 10.0 ** np.floor(np.log10(top / 4.0))
    return float(size * next(s for s in _STEPS if s * size >= top / 5.0))


def _hours(start: datetime, across: Callable[[datetime], float]) -> tuple[tuple[float, str], ...]:
    """Return ticks every six hours of the plant's clock."""
    first = start.replace(minute=0, second=0, microsecond=0)
    hours = [first + timedelta(hours=i) for i in range(1, 25)]
    return tuple((across(hour), f"{hour:%H:%M}") for hour in hours if hour.hour % 6 == 0)


def _words(measured: Sequence[tuple[Taken, float]], quantity: Quantity, past: GroupChart | None) -> str:
    """Return what the drawing says: the drift if there is one, else how many samples there are."""
    newest, value = max(measured, key=lambda m: (m[0].at, m[0].entry.sequence))
    count = f"{len(measured)} sample{'' if len(measured) == 1 else 's'}"
    last = f"{count} in 24 hours, the last at {newest.at:%H:%M} with {value_words(value, quantity)}."
    return f"{past.words[:1].upper()}{past.words[1:]}. {last}" if past else last

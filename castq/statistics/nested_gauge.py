"""Study of a destructive test: each melt belongs to one operator or furnace, and repeats are samples side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from castq.core.errors import input_error
from castq.statistics.gauge import (
    STUDY,
    AnovaRow,
    GaugeStudy,
    all_alike,
    categories,
    components_of,
    repeat_share,
    zeroed,
)
from castq.statistics.intervals import combination_interval
from castq.statistics.series import Array, numbers


@dataclass(frozen=True, slots=True, eq=False)
class _Nest:
    """Sums of squares of a nested layout and the mean numbers of repeats behind its expected mean squares."""

    sums: tuple[float, float, float]
    degrees: tuple[float, float, float]
    per_part: float
    per_part_above: float
    per_top: float


def nested(
    values: ArrayLike, parts: Sequence[Any], tops: Sequence[Any] | None = None, top: str = "operator",
    confidence: float = 0.95,
) -> GaugeStudy:  # fmt: skip
    """Return the nested study of a destructive test: repeats in parts (melts), parts in operators or furnaces.

    Parameters
    ----------
    values : array_like
        Measured values, one row each [any unit].
    parts : sequence
        Melt of each row; a name counts within its operator or furnace.
    tops : sequence or None
        Operator or furnace of each row; None when there is one only.
    top : str
        What `tops` are: `operator` counts as part of the method, anything else as part of the process.
    confidence : float
        Confidence of the intervals [-].

    Returns
    -------
    GaugeStudy
        Components `part`, the one named by `top`, `repeatability`, `gauge`, `total` [unit squared].

    Notes
    -----
    Analysis of variance estimates for unequal numbers (Searle, Casella and McCulloch, Variance Components, 1992);
    intervals as in `crossed`, exact for the repeats, near enough for unequal numbers. Repeats are different samples:
    what differs between samples of one melt counts as repeatability and cannot be told from it.
    """
    x = numbers(values, STUDY, 4)
    nest = _nest(x, parts, [""] * len(x) if tops is None else tops)
    squares = [s / d if d else 0.0 for s, d in zip(nest.sums, nest.degrees, strict=True)]
    ratio = nest.per_part_above / nest.per_part
    several = nest.degrees[0] > 0.0
    above = (1 / nest.per_top, -ratio / nest.per_top, (ratio - 1.0) / nest.per_top) if several else (0.0,) * 3
    part = (0.0, 1 / nest.per_part, -1 / nest.per_part)
    factors: dict[str, Any] = {"part": part, top: above, "repeatability": (0.0, 0.0, 1.0)}
    factors["gauge"] = tuple(np.add(above, (0, 0, 1))) if top == "operator" else (0.0, 0.0, 1.0)
    factors["total"] = tuple(np.add(np.add(above, part), (0, 0, 1)))
    raw = {name: float(np.dot(f, squares)) for name, f in factors.items()}
    spans = {name: combination_interval(squares, nest.degrees, f, confidence) for name, f in factors.items()}
    below = zeroed({name: raw[name] for name in ("part", top)})
    own, real, other = raw["repeatability"], max(0.0, raw["part"]), max(0.0, raw[top])
    raw["gauge"] = own + (other if top == "operator" else 0.0)
    raw["total"] = own + real + other
    share = repeat_share(squares[1] / squares[2], *nest.degrees[1:], nest.per_part, confidence, own / (own + real))
    rows = tuple(AnovaRow(*row) for row in zip((top, "part", "repeats"), nest.degrees, nest.sums, squares, strict=True))
    held = "repeats are samples taken side by side: their own differences count as repeatability"
    components = components_of({name: (raw[name], spans[name]) for name in raw}, raw["total"])
    first = 0 if several else 1
    return GaugeStudy("nested", components, rows[first:], categories(real, raw["gauge"]), share, confidence,
                      (held, *below))  # fmt: skip


def _nest(x: Array, parts: Sequence[Any], tops: Sequence[Any]) -> _Nest:
    """Return the sums of a nested layout, or refuse one that cannot tell repeats from parts."""
    if len(parts) != len(x) or len(tops) != len(x):
        raise input_error(STUDY, "rows", f"{len(x)} values, {len(parts)} parts, {len(tops)} names above",
                          "one of each a row", "check the columns")  # fmt: skip
    outer_names, outer = np.unique([str(t) for t in tops], return_inverse=True)
    pairs = np.unique([f"{t:06d}|{p}" for t, p in zip(outer.tolist(), parts, strict=True)], return_inverse=True)
    names, inner = pairs
    count, size = np.bincount(inner), np.bincount(outer)
    home = np.array([int(name.split("|", 1)[0]) for name in names])
    degrees = (len(outer_names) - 1.0, float(len(names) - len(outer_names)), float(len(x) - len(names)))
    if degrees[1] < 1 or degrees[2] < 1:
        raise input_error(STUDY, "rows", f"{len(names)} melts with {len(x)} samples in {len(outer_names)} groups",
                          "at least two melts in a group, and repeats in some of them", "take pairs")  # fmt: skip
    means, above, grand = np.bincount(inner, x) / count, np.bincount(outer, x) / size, x.mean()
    within = float(np.sum((x - means[inner]) ** 2))
    if within == 0.0:
        raise all_alike()
    sums = (float(np.sum(size * (above - grand) ** 2)), float(np.sum(count * (means - above[home]) ** 2)), within)
    n = float(len(x))
    own = float(np.sum(count**2 / size[home]))
    several = max(degrees[0], 1.0)
    per_top = (n - float(np.sum(size**2)) / n) / several
    return _Nest(sums, degrees, (n - own) / degrees[1], (own - float(np.sum(count**2)) / n) / several, per_top)

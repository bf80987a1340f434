"""How much of the spread is the test's own: repeated pairs of melts, of furnaces or operators."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from castq.core.errors import input_error
from castq.melt.chart_types import QUANTITIES, Quantity
from castq.melt.chart_words import value_words
from castq.statistics.gauge import GaugeStudy
from castq.statistics.nested_gauge import nested

if TYPE_CHECKING:
    from pandas import DataFrame

# The mean of so many pairs is advised that the test keeps at most this share of the spread; practice.
WANTED_SHARE = 0.2
MOST_PAIRS = 20


@dataclass(frozen=True, slots=True)
class RepeatStudy:
    """What repeated pairs tell about the test.

    Attributes
    ----------
    quantity : Quantity
        What was measured.
    by : {"furnace", "operator"}
        What the melts were grouped by.
    study : GaugeStudy
        Components on the even scale of the charts [-].
    level : float
        Middle value [unit of the quantity].
    one_sigma : float
        Standard deviation of a single pair at that level [unit of the quantity].
    pairs_wanted : int or None
        Pairs a melt whose mean keeps the test's share low; None when no reasonable number does [-].
    words : tuple of str
        All this in plain sentences.
    """

    quantity: Quantity
    by: Literal["furnace", "operator"]
    study: GaugeStudy
    level: float
    one_sigma: float
    pairs_wanted: int | None
    words: tuple[str, ...]


def study_repeats(
    frame: DataFrame, quantity: str = "density_index_pct", by: Literal["furnace", "operator"] = "furnace"
) -> RepeatStudy:
    """Return the measurement study of pairs taken side by side from the same melts.

    Parameters
    ----------
    frame : DataFrame
        One row a pair: `melt`, the quantity, and `furnace` or `operator`.
    quantity : str
        Column of the values.
    by : {"furnace", "operator"}
        What melts belong to. Operators count as part of the test, furnaces as part of the process.

    Returns
    -------
    RepeatStudy
        Study with words.
    """
    known = {q.name: q for q in QUANTITIES}
    missing = [name for name in ("melt", by, quantity) if name not in frame.columns]
    if missing or quantity not in known:
        place = missing[0] if missing else quantity
        raise input_error("repeated pairs", place, "no such column", f"melt, {by} and {' or '.join(known)}", "add it")
    chosen = known[quantity]
    rows = frame[frame[quantity].notna()]
    values = rows[quantity].to_numpy(dtype=float)
    study = nested(chosen.even(values), rows["melt"].tolist(), rows[by].tolist(), top=by)
    level = float(np.median(values))
    slope = math.hypot(level, chosen.bend)
    own, real = study.component("repeatability").variance, study.component("part").variance
    wanted = math.ceil(own / real * (1.0 - WANTED_SHARE) / WANTED_SHARE) if real > 0.0 else MOST_PAIRS + 1
    pairs = wanted if wanted <= MOST_PAIRS else None
    sigma = slope * math.sqrt(own)
    return RepeatStudy(chosen, by, study, level, sigma, pairs, _words(study, chosen, by, level, sigma, pairs))


def _words(
    study: GaugeStudy, quantity: Quantity, by: str, level: float, sigma: float, pairs: int | None
) -> tuple[str, ...]:
    test = study.component("gauge").share_pct
    share, low, high = study.repeat_share_pct
    return (
        f"the test itself carries {test:.0f} % of the spread (variance)",
        f"within one {by}, pairs of one melt carry {share:.0f} % of it ({100 * study.confidence:.0f} % interval "
        f"{low:.0f} to {high:.0f} %), the melts the rest; this includes what differs between samples of one melt",
        f"at {value_words(level, quantity)} a single pair has a standard deviation of {_difference(sigma, quantity)}",
        f"differences between {by}s carry {study.component(by).share_pct:.0f} % of the spread",
        _advice(study, pairs),
    )


def _difference(value: float, quantity: Quantity) -> str:
    """Return a difference with its unit; those of a percentage are points."""
    words = value_words(value, quantity)
    return words.replace("%", "percentage points") if quantity.unit == "%" else words


def _advice(study: GaugeStudy, pairs: int | None) -> str:
    groups = study.distinct_categories
    told = f"the test tells {groups} groups of melts apart" if groups > 1 else "the test hardly tells melts apart"
    if pairs is None:
        return f"{told}; no reasonable number of pairs would change that, or the melts are all alike"
    each = "one pair is enough" if pairs <= 1 else f"the mean of {pairs} pairs a melt would be enough"
    return f"{told}; {each} for the pairs' own part to be {100 * WANTED_SHARE:.0f} % of the spread or less"

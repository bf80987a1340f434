"""What the charts of the melt desk rest on and give: rules, baseline, departures and one chart a group."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.errors import input_error
from castq.melt.sample_times import DEFAULT_SHIFTS, Times
from castq.statistics.capability import Capability

Array = NDArray[np.float64]
State = Literal["steady", "drifted up", "drifted down", "far above", "far below", "back", "too few", "not charted",
                "no recent sample"]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Quantity:
    """A charted quantity.

    Attributes
    ----------
    name, label, unit : str
        Column, words and unit.
    bend : float
        Value at which the constant part of the scatter and the part that grows with the value are equal; the chart
        works on asinh(value / bend), on which the scatter is even [unit of the quantity].
    """

    name: str
    label: str
    unit: str
    bend: float

    def even(self, values: ArrayLike) -> Array:
        """Return values on the scale on which their scatter is even [-]."""
        return np.arcsinh(np.asarray(values, dtype=float) / self.bend)

    def back(self, evened: ArrayLike) -> Array:
        """Return values from that scale [unit of the quantity]."""
        return np.asarray(self.bend * np.sinh(np.asarray(evened, dtype=float)))


# Scatter of repeats: 0.15 points and 25 % of the density index; 0.01 ml/100g and 7 % of the hydrogen. Common practice.
QUANTITIES: tuple[Quantity, ...] = (
    Quantity("density_index_pct", "density index", "%", 0.15 / 0.25),
    Quantity("hydrogen_ml_100g", "hydrogen", "ml/100g", 0.01 / 0.07),
)


@dataclass(frozen=True, slots=True)
class ChartRules:
    """How samples are charted; the defaults keep false signals of a steady furnace to a few in a hundred weeks.

    Attributes
    ----------
    least : int
        Fewest samples of a group [-].
    baseline : int
        Most samples from which the limits are taken: the first of the group, at most half of them unless that would
        be fewer than `least` [-].
    width : float
        Distance of the limits from the centre, in standard deviations [-].
    slack, decision : float
        Slack and decision level of the CUSUM, in standard deviations [-].
    weight : float
        Weight of the newest sample in the moving average drawn with the chart [-].
    recent_days : float
        What ended longer ago is not told [d].
    newest : int
        Samples on which the capability rests: the newest so many [-].
    after : tuple of str
        Places in the work whose samples are charted.
    shifts : mapping of name to start
        When the shifts begin.
    upper_limits : mapping of column to limit
        Limits for the capability [unit of the column].
    """

    least: int = 12
    baseline: int = 50
    width: float = 3.5
    slack: float = 0.75
    decision: float = 4.5
    weight: float = 0.2
    recent_days: float = 7.0
    newest: int = 100
    after: tuple[str, ...] = ("after treatment", "")
    shifts: Mapping[str, str] = field(default_factory=lambda: dict(DEFAULT_SHIFTS))
    upper_limits: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("baseline", "width", "slack", "decision", "weight", "recent_days", "newest"):
            if not getattr(self, name) > 0.0:
                raise input_error(
                    "chart rules", name, f"{getattr(self, name):g}", "a number above 0", "leave the default"
                )
        if self.least < 4:
            raise input_error("chart rules", "least", f"{self.least}", "4 or more", "leave the default of 12")


@dataclass(frozen=True, slots=True)
class Baseline:
    """What the limits rest on.

    Attributes
    ----------
    count : int
        Samples at the beginning of the group that were used or left out [-].
    left_out : int
        How many of them lie far from the rest and were left out [-].
    centre, sigma : float
        Centre and standard deviation on the even scale; sigma is widened for the shortness of the baseline [-].
    widening : float
        Factor by which it is widened [-].
    likeness : float
        Correlation of each sample with the one before [-].
    alike : bool
        True when that may be more than chance.
    drift_widening : float
        Further factor on sigma for finding drifts, 1 unless samples resemble the one before [-].
    words : str
        All this in words.
    """

    count: int
    left_out: int
    centre: float
    sigma: float
    widening: float
    likeness: float
    alike: bool
    drift_widening: float
    words: str


@dataclass(frozen=True, slots=True)
class Departure:
    """A time during which the values lay off their level, or one far value.

    Attributes
    ----------
    kind : {"drifted up", "drifted down", "far above", "far below"}
        What it is.
    first : int
        Index of the sample with which it began, as estimated.
    found : int
        Index of the sample that gave the signal.
    last : int
        Index of its last sample.
    open : bool
        True when it lasts up to the newest sample.
    level : float
        Middle of the samples in it [unit of the quantity].
    """

    kind: Literal["drifted up", "drifted down", "far above", "far below"]
    first: int
    found: int
    last: int
    open: bool
    level: float


@dataclass(frozen=True, slots=True, eq=False)
class GroupChart:
    """The chart of one quantity of one furnace, or of one shift of it.

    Attributes
    ----------
    furnace, shift : str
        Which group; shift is empty for all of them.
    quantity : Quantity
        What is charted.
    state : State
        The state in one term.
    words : str
        One plain sentence.
    utc, local : array of datetime64
        When the samples were taken, in UTC and on the plant's clock.
    sequence : array of int
        Their numbers in the log.
    values : array
        Values [unit of the quantity].
    centre, lower, upper : float
        Centre and limits of single values; NaN when not charted [unit of the quantity].
    average, average_lower, average_upper : array
        Moving average with its limits; empty when not charted [unit of the quantity].
    beyond : array of bool
        Samples beyond the limits.
    baseline : Baseline or None
        What the limits rest on; None when not charted.
    departures : tuple of Departure
        All of them, oldest first.
    capability : Capability or None
        Capability of the newest samples; None without a limit.
    capability_words : str
        It in one sentence.
    """

    furnace: str
    shift: str
    quantity: Quantity
    state: State
    words: str
    utc: Times
    local: Times
    sequence: NDArray[np.int64]
    values: Array
    centre: float = np.nan
    lower: float = np.nan
    upper: float = np.nan
    average: Array = field(default_factory=lambda: np.zeros(0))
    average_lower: Array = field(default_factory=lambda: np.zeros(0))
    average_upper: Array = field(default_factory=lambda: np.zeros(0))
    beyond: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))
    baseline: Baseline | None = None
    departures: tuple[Departure, ...] = ()
    capability: Capability | None = None
    capability_words: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class ChartBook:
    """All charts of a set of samples, with what was noticed on the way.

    Attributes
    ----------
    groups : tuple of GroupChart
        By quantity, furnace and shift.
    notes : tuple of str
        Remarks on the samples.
    """

    groups: tuple[GroupChart, ...]
    notes: tuple[str, ...]

    def of(self, quantity: str, furnace: str, shift: str = "") -> GroupChart:
        """Return one chart.

        Parameters
        ----------
        quantity : str
            Column.
        furnace, shift : str
            Which group; an empty shift for all of them.

        Returns
        -------
        GroupChart
            The chart.
        """
        for group in self.groups:
            if (group.quantity.name, group.furnace, group.shift) == (quantity, furnace, shift):
                return group
        raise input_error(
            "charts", f"{quantity}, {furnace} {shift}".strip(), "no such chart", "", "see the furnaces charted"
        )

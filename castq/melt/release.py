"""Which of the screened designs a melt may pour: the hydrogen each stands against the hydrogen of the melt.

Both are distributions and independent of each other: what is unsure about the design is in its draws, what is unsure
about the melt in its own. The answer ranks; the plant's own rules decide.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from castq.core.cautions import cautions_for
from castq.core.errors import InputError, input_error
from castq.materials import alloy as find_alloy
from castq.melt.designs import KeptDesign, KeptZone, share_met
from castq.melt.release_words import degas_words, notes_of, row_words, table_words
from castq.melt.types import Interval

Array = NDArray[np.float64]
PourAnswer = Literal["may pour", "pour with care", "do not pour", "not comparable"]

ANSWERS: Final[tuple[PourAnswer, ...]] = ("may pour", "pour with care", "do not pour", "not comparable")
SURE: Final = 0.90
# Below even odds no care makes up for the gas. Common practice, no source.
CARE_FROM: Final = 0.50
LEAST_SURE, MOST_SURE = 0.5, 0.99
# A melt as so many equally likely values.
POINTS: Final = 401
_LEVELS: Final = (np.arange(POINTS) + 0.5) / POINTS
_NORMAL: Final = ndtri(_LEVELS)
_P90: Final = float(ndtri(0.9))
_LEAST_HYDROGEN: Final = 0.005
# Below this the estimate of gas porosity says nothing, and no treatment in the trade is aimed there.
_LEAST_TARGET: Final = 0.05
_HALVINGS: Final = 12
RULES: Final = (
    "This table is screening: it holds the melt against porosity limits only. The release rules of your plant decide "
    "what is poured."
)
SAME_PROCESS: Final = (
    "Each design stands this hydrogen with the strontium, cleanliness, temperatures and pressure that it was screened "
    "with; another process needs another screening."
)


@dataclass(frozen=True, slots=True)
class ZoneOdds:
    """One zone against the melt: the hydrogen it stands with the certainty asked for, and how likely it does."""

    zone: str
    quantity: str
    limit_pct: float
    stands_ml_100g: float
    probability_ok: float
    undecided: str


@dataclass(frozen=True, slots=True)
class ReleaseRow:
    """One design against the melt.

    Attributes
    ----------
    design : str
        Name.
    answer : PourAnswer
        What to do.
    words : str
        The answer in one sentence.
    probability_ok : float
        Probability that every decided zone meets its limit with this melt [-]; NaN when there is none.
    stands_ml_100g : float
        Highest hydrogen with the certainty asked for [ml/100g]; 0 where none would do, NaN when nothing is decided.
    stands : Interval
        Hydrogen that the design stands: median, p10, p90 over its draws [ml/100g].
    decides : str
        Zone that decides at that certainty; empty where the estimate reaches no further.
    degas_to_ml_100g : float or None
        Middle of the melt at which it would do with the certainty asked for, rounded down [ml/100g]; none where it
        does already or where degassing does not help.
    zones : tuple of ZoneOdds
        Zone by zone, least likely first.
    notes : tuple of str
        What else to know of the design.
    kept : KeptDesign
        The design as kept.
    """

    design: str
    answer: PourAnswer
    words: str
    probability_ok: float
    stands_ml_100g: float
    stands: Interval
    decides: str
    degas_to_ml_100g: float | None
    zones: tuple[ZoneOdds, ...]
    notes: tuple[str, ...]
    kept: KeptDesign


@dataclass(frozen=True, slots=True)
class ReleaseTable:
    """Which designs a melt may pour.

    Attributes
    ----------
    rows : tuple of ReleaseRow
        One a design: those that may be poured first, then by probability.
    hydrogen_ml_100g : Interval
        Hydrogen of the melt [ml/100g].
    alloy : str
        Alloy of the melt.
    sure : float
        Certainty asked for [-].
    words : str
        The table in one sentence.
    cautions : tuple of str
        What goes with it, the plant's own rules first.
    relations_used : tuple of str
        Ids of the relations behind the limits.
    """

    rows: tuple[ReleaseRow, ...]
    hydrogen_ml_100g: Interval
    alloy: str
    sure: float
    words: str
    cautions: tuple[str, ...]
    relations_used: tuple[str, ...] = ("gas-porosity-estimate", "hydrogen-limit")


def release(
    designs: Iterable[KeptDesign], hydrogen_ml_100g: Interval | ArrayLike, *, alloy: str, sure: float = SURE
) -> ReleaseTable:
    """Hold a melt against screened designs.

    Parameters
    ----------
    designs : iterable of KeptDesign
        The designs, for example a library.
    hydrogen_ml_100g : Interval or array_like
        Hydrogen of the melt: median, p10 and p90 as in a judgement, or draws of it [ml/100g].
    alloy : str
        Alloy of the melt.
    sure : float
        Certainty asked for, 0.5 to 0.99 [-].

    Returns
    -------
    ReleaseTable
        One row a design, sorted.

    Raises
    ------
    InputError
        If the certainty or the hydrogen cannot be.
    """
    if not LEAST_SURE <= sure <= MOST_SURE:
        raise input_error("release", "sure", f"{sure:g} is out of range", f"{LEAST_SURE:g} to {MOST_SURE:g}",
                          "write 0.9 for 90 %")  # fmt: skip
    points = melt_points(hydrogen_ml_100g)
    given = hydrogen_ml_100g if isinstance(hydrogen_ml_100g, Interval) else _interval(points)
    own = _known(alloy)
    rows = [_row(kept, points, given, same=_known(kept.alloy) == own, alloy=alloy, sure=sure) for kept in designs]
    rows.sort(key=lambda row: (ANSWERS.index(row.answer), -np.nan_to_num(row.probability_ok, nan=-1.0), row.design))
    cautions = (RULES, SAME_PROCESS, *cautions_for("melt"))
    return ReleaseTable(
        tuple(rows), given, alloy, sure, table_words([row.answer for row in rows], given, sure), cautions
    )


def melt_points(hydrogen_ml_100g: Interval | ArrayLike) -> Array:
    """Return a melt's hydrogen as equally likely values in rising order.

    Parameters
    ----------
    hydrogen_ml_100g : Interval or array_like
        Median, p10 and p90, or draws [ml/100g].

    Returns
    -------
    array (401,)
        Hydrogen [ml/100g].

    Raises
    ------
    InputError
        If a value is missing, not above nought, or p10, median and p90 do not rise.

    Notes
    -----
    An interval is taken as normal on either side of its median, each side with its own spread.
    """
    if isinstance(hydrogen_ml_100g, Interval):
        low, middle, high = _checked([hydrogen_ml_100g.p10, hydrogen_ml_100g.median, hydrogen_ml_100g.p90])
        if not low <= middle <= high:
            raise input_error("release", "hydrogen", "p10, median and p90 do not rise", "", "check the sample")
        side = np.where(_NORMAL < 0.0, middle - low, high - middle) / _P90
        return np.maximum(middle + side * _NORMAL, _LEAST_HYDROGEN)
    return np.asarray(np.quantile(_checked(hydrogen_ml_100g), _LEVELS))


def _checked(hydrogen_ml_100g: ArrayLike) -> Array:
    values = np.ravel(np.asarray(hydrogen_ml_100g, dtype=float))
    if not values.size or not np.isfinite(values).all() or values.min() <= 0.0:
        raise input_error("release", "hydrogen", "is missing, or not above 0", "ml/100g", "judge a sample first")
    return values


def _interval(points: Array) -> Interval:
    low, middle, high = (float(value) for value in np.quantile(points, [0.1, 0.5, 0.9]))
    return Interval(middle, low, high)


def _known(name: str) -> str:
    """Return an alloy's id, so that its other names count as the same; an unknown name as it is."""
    try:
        return find_alloy(name).id
    except InputError:
        return name.strip().casefold()


def _row(kept: KeptDesign, points: Array, melt: Interval, *, same: bool, alloy: str, sure: float) -> ReleaseRow:
    probability = _probability(kept.quantiles_ml_100g, points) if same else math.nan
    stands_at = kept.stands(sure)
    degas_to = _degas_to(kept, points, melt, sure) if probability < sure else None
    answer = _answer(kept, probability, sure) if same else "do not pour"
    decides = kept.decides(sure)
    zones = _zones(kept, points, sure)
    first = next((zone.zone for zone in zones if not zone.undecided), "")
    words = row_words(
        kept, answer, probability,
        other_alloy="" if same else alloy, first=first,
        mend=degas_words(kept, degas_to, within=stands_at >= melt.median, sure=sure) if probability < sure else "",
    )  # fmt: skip
    stands = Interval(kept.stands(0.5), kept.stands(0.9), kept.stands(0.1))
    return ReleaseRow(
        kept.name, answer, words, probability, stands_at, stands, "" if decides is None else decides.zone,
        degas_to, zones, notes_of(kept), kept,
    )  # fmt: skip


def _answer(kept: KeptDesign, probability: float, sure: float) -> PourAnswer:
    if math.isnan(probability):
        return "not comparable"
    if probability < CARE_FROM:
        return "do not pour"
    # A design that fails its screening for another reason is not waved through for its porosity.
    whole = kept.verdict != "fails" and not any(zone.undecided for zone in kept.zones)
    return "may pour" if probability >= sure and whole else "pour with care"


def _probability(quantiles_ml_100g: tuple[float, ...], points: Array) -> float:
    """Return the probability that a melt stays within what a design stands; NaN when that is not known."""
    return float(np.mean(share_met(quantiles_ml_100g, points))) if quantiles_ml_100g else math.nan


def _zones(kept: KeptDesign, points: Array, sure: float) -> tuple[ZoneOdds, ...]:
    rows = [_zone(zone, points, zone.stands(sure)) for zone in kept.zones]
    return tuple(sorted(rows, key=lambda row: (bool(row.undecided), row.probability_ok, row.zone)))


def _zone(zone: KeptZone, points: Array, stands: float) -> ZoneOdds:
    odds = _probability(zone.quantiles_ml_100g, points)
    return ZoneOdds(zone.zone, zone.quantity, zone.limit_pct, stands, odds, zone.undecided)


def _degas_to(kept: KeptDesign, points: Array, melt: Interval, sure: float) -> float | None:
    """Return the middle to which the melt, its spread in proportion, must come down; none when no level would do."""
    low, high = _LEAST_TARGET / melt.median, 1.0
    if low >= high or _probability(kept.quantiles_ml_100g, low * points) < sure:
        return None
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if _probability(kept.quantiles_ml_100g, middle * points) >= sure:
            low = middle
        else:
            high = middle
    return math.floor(200.0 * low * melt.median) / 200.0

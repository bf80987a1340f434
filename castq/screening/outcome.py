"""What one solved variant leaves behind: each decided limit over the draws, in few bytes; and how two differ."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from castq.screening.types import Limit, Screening
from castq.screening.verdict import meets

# Two-sided 95 % of the normal distribution.
NORMAL_95 = 1.959963985
# What a sweep shows of each zone.
SHOWN = ("porosity_pct", "sdas_um", "elongation_pct", "feeding_margin")
Place = tuple[str, str, str]
_SIDES: dict[str, Literal[">=", "<="]] = {">=": ">=", "<=": "<="}


@dataclass(frozen=True, slots=True)
class Held:
    """One limit held against one zone, where the prediction may decide.

    Attributes
    ----------
    zone, quantity, operator : str
        What is held against what, and the side that passes.
    ok : str
        Which draws meet it: bits in hexadecimal, first draw first.
    room : float
        Median distance to the limit, as a share of it; positive where it is met [-].
    """

    zone: str
    quantity: str
    operator: str
    ok: str
    room: float

    @property
    def place(self) -> Place:
        """Zone, quantity and operator together: which limit it is."""
        return self.zone, self.quantity, self.operator


@dataclass(frozen=True, slots=True)
class Outcome:
    """Result of one variant.

    Attributes
    ----------
    fault : str
        Why it cannot be made or solved; empty when it was solved.
    draws : int
        Number of draws [-].
    held : tuple of Held
        Every decided limit.
    medians : mapping of zone to mapping of quantity to float
        Medians that a sweep shows, in the unit of the column.
    weight_kg : float
        Weight from the closed surface and the pore-free density [kg]; NaN when the shape is not known.
    solid_time_s, solid_late_s : float
        Time to solid of the zone that is solid last: median and p90 [s].
    last_zone : str
        That zone.
    """

    fault: str
    draws: int
    held: tuple[Held, ...] = ()
    medians: Mapping[str, Mapping[str, float]] | None = None
    weight_kg: float = math.nan
    solid_time_s: float = math.nan
    solid_late_s: float = math.nan
    last_zone: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return plain data; NaN is None."""
        return {
            "fault": self.fault,
            "draws": self.draws,
            "held": [[h.zone, h.quantity, h.operator, h.ok, _given(h.room)] for h in self.held],
            "medians": {zone: {n: _given(v) for n, v in row.items()} for zone, row in (self.medians or {}).items()},
            "weight_kg": _given(self.weight_kg),
            "solid_time_s": _given(self.solid_time_s),
            "solid_late_s": _given(self.solid_late_s),
            "last_zone": self.last_zone,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Outcome:
        """Return the outcome that `to_dict` wrote down; raises KeyError, TypeError or ValueError on other data."""
        held = tuple(Held(str(z), str(q), str(o), str(ok), _number(room)) for z, q, o, ok, room in data["held"])
        medians = {zone: {n: _number(v) for n, v in row.items()} for zone, row in data["medians"].items()}
        return cls(
            str(data["fault"]), int(data["draws"]), held, medians, _number(data["weight_kg"]),
            _number(data["solid_time_s"]), _number(data["solid_late_s"]), str(data["last_zone"]),
        )  # fmt: skip


def _given(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _number(value: Any) -> float:
    return math.nan if value is None else float(value)


def refused(fault: str, draws: int) -> Outcome:
    """Return the outcome of a variant that cannot be made or solved, with the reason in words.

    Parameters
    ----------
    fault : str
        The reason.
    draws : int
        Number of draws [-].
    """
    return Outcome(fault or "it cannot be solved", draws)


def outcome_of(screening: Screening) -> Outcome:
    """Return what is kept of a screening.

    Parameters
    ----------
    screening : Screening
        The result.
    """
    zones = screening.zones
    medians = {str(row["zone"]): {name: _rounded(row[name]) for name in SHOWN} for row in zones.to_dict("records")}
    times = zones["solid_time_s"].to_numpy(dtype=float)
    last = int(np.nanargmax(times)) if np.isfinite(times).any() else -1
    volume = screening.case.shape.get("volume_cm3")
    weight = math.nan if volume is None else float(volume) * screening.case.alloy.density_cold_kg_m3 * 1e-6
    return Outcome(
        fault="", draws=screening.draws, held=tuple(_held(screening)), medians=medians, weight_kg=_rounded(weight),
        solid_time_s=_rounded(times[last]) if last >= 0 else math.nan,
        solid_late_s=_rounded(zones["solid_time_s_p90"].iloc[last]) if last >= 0 else math.nan,
        last_zone=str(zones["zone"].iloc[last]) if last >= 0 else "",
    )  # fmt: skip


def _rounded(value: float) -> float:
    """Return a number at ten digits: the last bits depend on the processor's threads, the rest does not."""
    return float(f"{float(value):.10g}")


def _held(screening: Screening) -> Iterable[Held]:
    """Yield what the verdict sheet decides, draw by draw."""
    rows = {section.zone: row for row, section in enumerate(screening.case.sections)}
    for check in screening.checks:
        if check.verdict == "not decided":
            continue
        limit = Limit(check.role, check.quantity, _SIDES[check.operator], check.limit, check.house_default)
        values = np.asarray(screening.samples[check.quantity][rows[check.zone]], dtype=float)
        bits = np.packbits(meets(limit, values)).tobytes().hex()
        yield Held(check.zone, check.quantity, check.operator, bits, _room(limit, values))


def _room(limit: Limit, values: NDArray[np.float64]) -> float:
    side = 1.0 if limit.operator == ">=" else -1.0
    with np.errstate(invalid="ignore"):
        middle = float(np.median(values))
    return _rounded(side * (middle - limit.value) / max(abs(limit.value), 1e-12)) if math.isfinite(middle) else math.nan


def met(outcome: Outcome, places: Iterable[Place]) -> NDArray[np.bool_]:
    """Return which draws meet every one of some limits, array (draws,).

    Parameters
    ----------
    outcome : Outcome
        A solved variant.
    places : iterable of Place
        The limits; each must be decided in the outcome.
    """
    known = {held.place: held.ok for held in outcome.held}
    together = np.ones(outcome.draws, dtype=bool)
    for place in places:
        bits = np.unpackbits(np.frombuffer(bytes.fromhex(known[place]), dtype=np.uint8))
        together &= bits[: outcome.draws].astype(bool)
    return together


@dataclass(frozen=True, slots=True)
class Gain:
    """What a variant gains in the probability of meeting some limits, over the same draws.

    Attributes
    ----------
    value : float
        Probability of the variant less that of the case [-]; NaN where it is not decided.
    low, high : float
        95 % interval of the value, for the number of draws [-].
    room : float
        Gain in the median distance to the tightest limit, as a share of that limit [-].
    undecided : tuple of str
        Quantities that the case decides and the variant does not.
    """

    value: float
    low: float
    high: float
    room: float
    undecided: tuple[str, ...] = ()


UNKNOWN = Gain(math.nan, math.nan, math.nan, math.nan)


def gain_of(base: Outcome, variant: Outcome, places: Sequence[Place]) -> Gain:
    """Return what a variant gains.

    Parameters
    ----------
    base, variant : Outcome
        The case and the variant, over the same draws.
    places : sequence of Place
        The limits that the case decides.

    Returns
    -------
    Gain
        NaN where the variant is not solved, or leaves open what the case decides.

    Notes
    -----
    The interval is that of a difference of matched proportions with half a draw added to each of the four counts
    (Agresti and Min 2005, Statistics in Medicine 24:729, from memory); it is exactly nought where nothing changed.
    """
    if variant.fault:
        return UNKNOWN
    now = {held.place: held for held in variant.held}
    missing = tuple(dict.fromkeys(quantity for zone, quantity, operator in places
                                  if (zone, quantity, operator) not in now))  # fmt: skip
    if missing:
        return Gain(math.nan, math.nan, math.nan, math.nan, missing)
    before = {held.place: held for held in base.held}
    if all(before[place] == now[place] for place in places):
        return Gain(0.0, 0.0, 0.0, 0.0)
    first, second = met(base, places), met(variant, places)
    won, lost = int(np.sum(second & ~first)), int(np.sum(first & ~second))
    room = tightest(variant, places) - tightest(base, places)
    return Gain((won - lost) / base.draws, *matched_interval(won, lost, base.draws), room)


def matched_interval(won: int, lost: int, draws: int) -> tuple[float, float]:
    """Return the 95 % interval of a difference of matched proportions.

    Parameters
    ----------
    won, lost : int
        Draws that only the second, and only the first, meets [-].
    draws : int
        All draws [-].

    Returns
    -------
    tuple of float
        Low and high end [-].
    """
    b, c, n = won + 0.5, lost + 0.5, draws + 2.0
    middle = (b - c) / n
    half = NORMAL_95 * math.sqrt(max(b + c - (b - c) ** 2 / n, 0.0)) / n
    return max(middle - half, -1.0), min(middle + half, 1.0)


def tightest(outcome: Outcome, places: Iterable[Place]) -> float:
    """Return the smallest median distance to some limits, as a share of the limit [-].

    Parameters
    ----------
    outcome : Outcome
        A solved variant.
    places : iterable of Place
        The limits; each must be decided in the outcome.
    """
    known = {held.place: held.room for held in outcome.held}
    rooms = [known[place] for place in places if math.isfinite(known[place])]
    return min(rooms, default=math.inf)

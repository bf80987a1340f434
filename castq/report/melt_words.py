"""Melt results in words, the same on terminal, card and page: signs, numbers, short forms of log rows."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from castq.core.errors import plain
from castq.melt.types import Clock, Interval, Judgement, Kinetics, Sample

# How an answer is shown: the look of a verdict of the screening, and its word.
ANSWER_LOOKS: Final[dict[str, tuple[str, str]]] = {
    "cast": ("pass", "Cast"),
    "degas": ("at risk", "Degas"),
    "hold and resample": ("not decided", "Hold and resample"),
    "cannot reach": ("fails", "Cannot reach"),
}
POUR_LOOKS: Final[dict[str, str]] = {
    "may pour": "pass", "pour with care": "at risk", "do not pour": "fails", "not comparable": "not decided",
}  # fmt: skip
STATE_LOOKS: Final[dict[str, str]] = {
    "steady": "pass", "back": "pass", "drifted up": "fails", "drifted down": "at risk", "far above": "fails",
    "far below": "at risk", "too few": "not decided", "not charted": "not decided", "no recent sample": "not decided",
}  # fmt: skip
SIGNS: Final[dict[str, str]] = {"pass": "+", "at risk": "!", "fails": "x", "not decided": "?"}
# Beyond a day no number of minutes means anything.
_LONGEST_MIN = 24 * 60


@dataclass(frozen=True, slots=True)
class Standing:
    """What a judgement stands on, to be told with it.

    Attributes
    ----------
    samples : tuple of Sample
        The samples.
    at : datetime
        The moment of the answer.
    kinetics : Kinetics or None
        Calibration; None for the labelled defaults.
    kinetics_sha256 : str
        Its hash.
    notes : tuple of str
        What happened since the last sample, or how old it is.
    clocks : tuple of Clock
        Clocks of additions.
    rows : tuple of int
        Rows of the log book that were written for it.
    book : str
        Name of the book, empty when none was read or written.
    """

    samples: tuple[Sample, ...]
    at: datetime
    kinetics: Kinetics | None = None
    kinetics_sha256: str = ""
    notes: tuple[str, ...] = ()
    clocks: tuple[Clock, ...] = ()
    rows: tuple[int, ...] = ()
    book: str = ""


def sign_of(look: str) -> str:
    """Return the sign of a look in brackets, for plain text."""
    return f"[{SIGNS[look]}]"


def minutes(value: float) -> str:
    """Return minutes in words, rounded up; infinite ones have no number."""
    if not math.isfinite(value) or value > _LONGEST_MIN:
        return "no end"
    return f"{max(math.ceil(value - 1e-9), 0)} min"


def level(interval: Interval) -> str:
    """Return a hydrogen level with its band."""
    return f"{interval.median:.3f} ml/100g (p10 to p90: {interval.p10:.3f} to {interval.p90:.3f})"


def share(value: float) -> str:
    """Return a probability in whole percent that never says 0 or 100."""
    return "-" if math.isnan(value) else f"{min(max(round(100.0 * value), 1), 99)} %"


def pour_share(value: float) -> str:
    """Return a probability of a pouring table in short: whole percent, rounded down."""
    if math.isnan(value):
        return "-"
    return "<1 %" if value < 0.01 else ">99 %" if value > 0.99 else f"{math.floor(100.0 * value + 1e-9)} %"


def stands_words(stands_ml_100g: float) -> str:
    """Return the hydrogen that a design stands, in words where there is none."""
    return "-" if math.isnan(stands_ml_100g) else f"{stands_ml_100g:.3f}" if stands_ml_100g > 0.0 else "none"


def hydrogen_name(judgement: Judgement) -> str:
    """Return what the hydrogen of a judgement is: measured, or an equivalent."""
    return "hydrogen-equivalent, not a measurement" if judgement.hydrogen_is_equivalent else "hydrogen"


def kinetics_words(kinetics: Kinetics | None, sha256: str) -> str:
    """Return which kinetics an answer rests on, so that it can be cited."""
    if kinetics is None or not kinetics.name:
        return "Degassing kinetics: labelled defaults of common practice, not this furnace's own."
    where = ", ".join(part for part in (f"furnace {kinetics.furnace}" if kinetics.furnace else "",
                                        f"rotor {kinetics.rotor}" if kinetics.rotor else "") if part)  # fmt: skip
    return (
        f"Degassing kinetics: calibration '{plain(kinetics.name, 60)}'" + (f" ({plain(where, 80)})" if where else "")
        + f", {kinetics.points} readings, rate {kinetics.rate_per_min:.3f} per min, floor "
        f"{kinetics.floor_ml_100g:.3f} ml/100g, sha256 {sha256[:12]}."
    )  # fmt: skip


def clock_words(clock: Clock, now: datetime) -> str:
    """Return a clock in one sentence, saying when it has run out."""
    if clock.good_until is not None and clock.good_until < now:
        return f"Run out at {clock.good_until:%H:%M} ({clock.kind}): test, and add again by your procedure if needed."
    return f"{clock.kind.capitalize()}: {clock.words[:1].lower()}{clock.words[1:]}"


def sample_words(sample: Sample) -> str:
    """Return where and when a sample was taken, in one line."""
    where = sample.furnace if sample.furnace.casefold().startswith("furnace") else f"furnace {sample.furnace}"
    when = f"{sample.taken_at:%Y-%m-%d %H:%M}"
    after = f", {sample.after}" if sample.after else ""
    return f"{plain(where, 60)}, {plain(sample.alloy, 40)}, {sample.melt_temp_c:.0f} degC, {when}{after}"


def row_words(kind: str, payload: Mapping[str, Any]) -> str:
    """Return what a row of the log book says, short.

    Parameters
    ----------
    kind : str
        Kind of entry.
    payload : mapping
        What was entered.

    Returns
    -------
    str
        One line; names are cut, so that no entry fills the page.
    """
    told = _TOLD.get(kind)
    try:
        return plain(told(payload) if told else f"row {kind}", 120)
    except (KeyError, TypeError, ValueError):
        return "values that this version of castq does not know"


def _sample(p: Mapping[str, Any]) -> str:
    parts = [_indices(p.get("pairs") or ())]
    readings = p.get("readings") or ()
    parts.append(" ".join(f"{r['hydrogen_ml_100g']:.3f}" for r in readings) + " ml/100g" if readings else "")
    parts += [f"{p['melt_temp_c']:.0f} degC", str(p.get("after") or ""), str(p.get("note") or "")]
    return ", ".join(part for part in parts if part)


def _indices(pairs: Sequence[Mapping[str, float]]) -> str:
    if not pairs:
        return ""
    values = [100.0 * (1.0 - p["in_vacuum_g_cm3"] / p["in_air_g_cm3"]) for p in pairs]
    return f"DI {' '.join(f'{v:.2f}' for v in values)} % at {pairs[0]['test_pressure_mbar']:g} mbar"


def _treatment(p: Mapping[str, Any]) -> str:
    rotor = f", rotor {p['rotor']}" if p.get("rotor") else ""
    return f"{p['minutes']:g} min, {p.get('gas') or 'gas not noted'}{rotor}"


def _addition(p: Mapping[str, Any]) -> str:
    reaches = (
        f", reaches {p['reaches']:g} {'ppm' if p['added'] == 'strontium' else 'wt%'}"
        if p.get("reaches") is not None
        else ""
    )
    return f"{p['added']} {p['amount_kg']:g} kg{reaches}"


def _air(p: Mapping[str, Any]) -> str:
    damp = f"{p['relative_humidity_pct']:g} %" if p.get("relative_humidity_pct") is not None else ""
    dew = f"dew point {p['dew_point_c']:g} degC" if p.get("dew_point_c") is not None else ""
    return ", ".join(part for part in (f"{p['air_temp_c']:g} degC", damp, dew) if part)


def _calibration(p: Mapping[str, Any]) -> str:
    return f"{p['name']}: rate {p['rate_per_min']:.3f} per min, floor {p['floor_ml_100g']:.3f} ml/100g"


def _release(p: Mapping[str, Any]) -> str:
    return f"{p['hydrogen_ml_100g']:.3f} ml/100g: " + ", ".join(f"{a['design']} {a['answer']}" for a in p["answers"])


_TOLD: Final[dict[str, Callable[[Mapping[str, Any]], str]]] = {
    "sample": _sample, "treatment": _treatment, "addition": _addition, "air": _air, "calibration": _calibration,
    "release": _release, "correction": lambda p: "withdrawn",
}  # fmt: skip

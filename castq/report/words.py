"""Numbers and verdicts in words, the same in every output: page, terminal and figures."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from castq.core.errors import plain
from castq.report.colours import VERDICTS
from castq.screening.columns import BY_NAME
from castq.screening.types import Check, Screening

DASH = "–"
UNIT_WORDS: dict[str, str] = {
    "um": "µm", "cm3": "cm³", "mm3": "mm³", "degC": "°C", "W/m2K": "W/m²K", "(K s)^0.5/mm": "(K·s)½/mm", "-": "",
}  # fmt: skip
SIDE_WORDS: dict[str, str] = {">=": "at least", "<=": "at most"}
# Quantities that pores decide, and those that the time of freezing decides.
BY_PORES: frozenset[str] = frozenset({
    "porosity_pct", "gas_porosity_pct", "shrinkage_porosity_pct", "pore_size_um", "largest_pore_um", "elongation_pct",
    "uts_mpa", "quality_index_mpa", "fatigue_strength_mpa", "feeding_margin", "niyama",
})  # fmt: skip
BY_FREEZING: frozenset[str] = frozenset({
    "sdas_um", "local_solidification_time_s", "solid_time_s", "cutoff_time_s", "cooling_rate_k_per_s",
})  # fmt: skip
SIDE_SIGNS: dict[str, str] = {">=": "≥", "<=": "≤"}


def unit_text(unit: str) -> str:
    """Return a unit as people write it; empty for a plain ratio."""
    return UNIT_WORDS.get(unit, unit)


def number(value: object, digits: int = 3) -> str:
    """Return a number with about three significant digits and no exponent for everyday sizes; a dash for none."""
    try:
        x = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return DASH
    if math.isnan(x):
        return DASH
    if math.isinf(x):
        return "∞" if x > 0 else "-∞"
    if x == 0.0:
        return "0"
    size = math.floor(math.log10(abs(x)))
    if size >= 6 or size < -4:
        return f"{x:.{digits - 1}e}"
    return f"{x:.{max(0, digits - 1 - size)}f}"


def beside(value: float, reference: float) -> str:
    """Return a difference with as many decimals as the value it is taken from has in `number`."""
    if math.isnan(value) or math.isnan(reference):
        return DASH
    shown = number(reference)
    decimals = len(shown.partition(".")[2]) if "e" not in shown and reference else 3
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def span(low: object, high: object, digits: int = 3) -> str:
    """Return `low–high`, or nothing when either is unknown."""
    first, second = number(low, digits), number(high, digits)
    return "" if DASH in (first, second) else f"{first}{DASH}{second}"


def with_unit(value: object, unit: str) -> str:
    """Return a number with its unit."""
    return f"{number(value)} {unit_text(unit)}".strip()


def given(value: float, unit: str) -> str:
    """Return a number that somebody wrote, such as a limit, as it was written, with its unit."""
    return DASH if math.isnan(value) else f"{value:g} {unit_text(unit)}".strip()


def percent(share: float) -> str:
    """Return a probability as whole percent, never 0 or 100 unless it is exactly so in the draws."""
    if math.isnan(share):
        return DASH
    if 0.0 < share < 0.01:
        return "< 1 %"
    if 0.99 < share < 1.0:
        return "> 99 %"
    return f"{100.0 * share:.0f} %"


def label(quantity: str) -> str:
    """Return the words for a quantity."""
    column = BY_NAME.get(quantity)
    return column.label if column else plain(quantity.replace("_", " "))


@dataclass(frozen=True, slots=True)
class Decisive:
    """A zone that decides the verdict: which check, its limit, what is behind it and the numbers, in words."""

    zone: str
    verdict: str
    headline: str
    limit: str
    cause: str
    detail: str
    why: str


def decisive(screening: Screening, count: int = 3) -> tuple[Decisive, ...]:
    """Return the zones that decide the verdict, worst first, one check each.

    Parameters
    ----------
    screening : Screening
        The result.
    count : int
        Most zones to name [-].

    Returns
    -------
    tuple of Decisive
        Empty when no limit was held against the wheel.
    """
    decided = [c for c in screening.checks if c.verdict in ("fails", "at risk", "not decided")]
    decided = decided or [c for c in screening.checks if c.verdict == "pass"]
    chosen: dict[str, Check] = {}
    for check in sorted(decided, key=_severity):
        chosen.setdefault(check.zone, check)
    return tuple(_in_words(screening, check) for check in list(chosen.values())[:count])


def _severity(check: Check) -> tuple[float, float, float]:
    probability = check.probability_ok if math.isfinite(check.probability_ok) else 1.0
    return (-VERDICTS[check.verdict].rank, probability, -shortfall(check) / max(abs(check.limit), 1e-12))


def shortfall(check: Check) -> float:
    """Return by how much the median misses the limit, in the unit of the quantity; negative when it meets it."""
    return check.limit - check.median if check.operator == ">=" else check.median - check.limit


def _in_words(screening: Screening, check: Check) -> Decisive:
    unit = check.unit
    miss = shortfall(check)
    step = "percentage points" if unit == "%" else unit_text(unit)
    amount = f"{number(abs(miss), 2)} {step}".strip()
    share = f" ({abs(miss) / abs(check.limit):.0%} of the limit)".replace("%", " %") if check.limit else ""
    if check.verdict == "not decided":
        headline = f"{label(check.quantity)}: not decided"
    elif miss > 0:
        headline = f"{label(check.quantity)} misses its limit by {amount}{share}"
    else:
        headline = f"{label(check.quantity)} meets its limit by only {amount}{share}"
        headline = headline.replace("only ", "") if check.verdict == "pass" else headline
    house = " (house default, not from your drawing)" if check.house_default else ""
    limit = f"{label(check.quantity)} {SIDE_WORDS[check.operator]} {given(check.limit, unit)}{house}"
    detail = (
        f"Predicted {with_unit(check.median, unit)}, in eight draws of ten {span(check.p10, check.p90)}. "
        f"Met in {percent(check.probability_ok)} of the draws."
    )
    rows = screening.zones[screening.zones["zone"] == check.zone].to_dict("records")
    cause = cause_of(screening, check, rows[0]) if rows else plain(check.comment)
    return Decisive(check.zone, check.verdict, headline, limit, cause, detail, _numbers(rows[0]) if rows else "")


def cause_of(screening: Screening, check: Check, row: Mapping[Any, Any]) -> str:
    """Return what is behind a check that a zone fails, risks or only just meets.

    Parameters
    ----------
    screening : Screening
        The result.
    check : Check
        The check.
    row : mapping of column to value
        The zone's row of the zone table.

    Returns
    -------
    str
        One sentence without full stop; empty when nothing can be said.
    """
    if check.verdict == "not decided" and check.comment:
        return plain(check.comment)
    parts = [_source(screening, check, row)]
    if check.verdict == "at risk":
        own = [d for d in screening.drivers if (d.zone, d.quantity) == (check.zone, check.quantity)]
        widest = max(own, key=lambda d: d.share, default=None)
        because = (
            f"; widest uncertainty: {plain(widest.source)} ({percent(widest.share)} of the variance)" if widest else ""
        )
        side = "misses the limit" if shortfall(check) > 0 else "meets the limit"
        parts.append(f"the median {side}, the range lies on both sides of it{because}")
    text = "; ".join(part for part in parts if part)
    return text[:1].upper() + text[1:]


def _source(screening: Screening, check: Check, row: Mapping[Any, Any]) -> str:
    """Return the physical cause of a check, as far as the zone's row and the solved shape tell it."""
    if check.quantity in BY_FREEZING:
        wall = f"an equivalent wall of {with_unit(row['wall_mm'], 'mm')} freezes slowly"
        return f"{wall}, local solidification time {with_unit(row['local_solidification_time_s'], 's')}"
    if check.quantity not in BY_PORES:
        return ""
    found = [region for region in screening.solid.regions if region.zone == row["role"]] if screening.solid else []
    if found:
        return plain(found[0].cause)
    margin, feeder = float(row["feeding_margin"]), plain(row["freezes_after"])
    if check.quantity == "niyama":
        return f"flat gradient on the way to feed metal, the {feeder}"
    if check.quantity == "feeding_margin" and margin >= 1.0:
        return f"its way to feed metal, the {feeder}, stays open only {number(margin)} times as long as the zone itself"
    if margin < 1.0:
        return f"its way to feed metal, the {feeder}, closes too early (feeding margin {number(margin)})"
    if float(row["shrinkage_porosity_pct"]) > float(row["gas_porosity_pct"]):
        niyama = float(row["niyama"])
        known = f" (Niyama {number(niyama)})" if math.isfinite(niyama) else ", or what feeds it solid first"
        return f"shrinkage in a zone that stays fed: gradient too flat{known}"
    hydrogen = given(screening.case.melt.hydrogen_ml_100g, "ml/100g")
    return (
        f"gas: hydrogen {hydrogen} in the melt, {with_unit(row['local_solidification_time_s'], 's')} for pores to grow"
    )


def _numbers(row: Mapping[Any, Any]) -> str:
    """Return the numbers that stand behind a check, from the zone's own row of the table."""
    gas, shrinkage = float(row["gas_porosity_pct"]), float(row["shrinkage_porosity_pct"])
    larger = "shrinkage" if shrinkage > gas else "gas"
    return (
        f"Local solidification time {with_unit(row['local_solidification_time_s'], 's')}, SDAS "
        f"{with_unit(row['sdas_um'], 'um')}; porosity {with_unit(row['porosity_pct'], '%')}, mostly {larger}."
    )

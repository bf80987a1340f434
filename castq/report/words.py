"""Numbers and verdicts in words, the same in every output: page, terminal and figures."""

from __future__ import annotations

import math
from dataclasses import dataclass

from castq.core.errors import plain
from castq.report.colours import VERDICTS
from castq.screening.columns import BY_NAME
from castq.screening.types import Check, Screening

DASH = "–"
UNIT_WORDS: dict[str, str] = {
    "um": "µm", "cm3": "cm³", "mm3": "mm³", "degC": "°C", "W/m2K": "W/m²K", "(K s)^0.5/mm": "(K·s)½/mm", "-": "",
}  # fmt: skip
SIDE_WORDS: dict[str, str] = {">=": "at least", "<=": "at most"}
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
    """A zone that decides the verdict: which check, in words."""

    zone: str
    verdict: str
    headline: str
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
    limit = f"{SIDE_WORDS[check.operator]} {given(check.limit, unit)}"
    house = " (house default)" if check.house_default else ""
    detail = (
        f"Predicted {with_unit(check.median, unit)}, in eight draws of ten {span(check.p10, check.p90)}; "
        f"limit {limit}{house}. Met in {percent(check.probability_ok)} of the draws."
    )
    return Decisive(check.zone, check.verdict, headline, detail, _why(screening, check))


def _why(screening: Screening, check: Check) -> str:
    """Return what stands behind a check, from the zone's own row of the table."""
    rows = screening.zones[screening.zones["zone"] == check.zone]
    if not len(rows):
        return plain(check.comment)
    row = rows.iloc[0]
    parts = []
    margin = float(row["feeding_margin"])
    if margin < 1.0:
        feeder = plain(row["freezes_after"])
        parts.append(f"its way to feed metal, the {feeder}, closes too early (feeding margin {number(margin)})")
    time = row["local_solidification_time_s"]
    parts.append(f"local solidification time {with_unit(time, 's')}, SDAS {with_unit(row['sdas_um'], 'um')}")
    gas, shrinkage = float(row["gas_porosity_pct"]), float(row["shrinkage_porosity_pct"])
    larger = "shrinkage" if shrinkage > gas else "gas"
    parts.append(f"porosity {with_unit(row['porosity_pct'], '%')}, mostly {larger}")
    text = "; ".join(parts)
    return text[0].upper() + text[1:] + "."

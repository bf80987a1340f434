"""Results as plain text for a terminal: at most 100 columns, no mark-up, nothing a file name could smuggle in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from castq.core.cautions import BANNER, cautions_for
from castq.core.errors import plain
from castq.report.colours import VERDICTS
from castq.report.hydrogen import NONE_WORDS, room_rows
from castq.report.lines import columns, line, title, wrapped
from castq.report.solid_text import solid_lines
from castq.report.tables import check_rows, difference_rows, strongest
from castq.report.words import DASH, Decisive, decisive, number, percent, span
from castq.screening.types import Comparison, Screening

MOST_CHECKS = 12
TABLE: tuple[tuple[str, str, int, bool], ...] = (
    ("local_solidification_time_s", "LST s", 5, False),
    ("sdas_um", "SDAS um", 7, False),
    ("feeding_margin", "feed", 5, False),
    ("porosity_pct", "porosity %", 18, True),
    ("elongation_pct", "elongation %", 15, True),
    ("ys_mpa", "YS MPa", 6, False),
    ("uts_mpa", "UTS MPa", 7, False),
)


def _verdict_lines(screening: Screening) -> list[str]:
    look = VERDICTS[screening.verdict]
    lines = [f"[{look.sign}] {look.word.upper()}"]
    if screening.verdict != "no limit":
        lines.append(f"    probability that every decided limit is met: {percent(screening.probability_ok)}")
    return lines


def screening_text(screening: Screening) -> str:
    """Return a screening as text: verdict, the zones that decide it, the zone table, checks, warnings, banner.

    Parameters
    ----------
    screening : Screening
        The result.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    lines = [line(screening.case.name), *_verdict_lines(screening)]
    for item in decisive(screening):
        lines += [
            "",
            line(f"[{VERDICTS[item.verdict].sign}] {plain(item.zone, 60)}: {VERDICTS[item.verdict].word.lower()}"),
        ]
        lines += [wrapped(text, "    ") for text in _decisive_lines(item)]
    lines += [
        *title("Zones (median; p10-p90 in brackets; LST local solidification time, feed the feeding margin)"),
        *_zone_lines(screening),
    ]
    if screening.solid is not None:
        lines += [*title("Solved field"), *(wrapped(text, "  ") for text in solid_lines(screening.solid))]
    lines += [*title("Checks, worst first"), *_check_lines(screening)]
    lines += _hydrogen_lines(screening)
    lines += _warning_lines(screening.warnings)
    return "\n".join([*lines, "", wrapped(BANNER)])


def _decisive_lines(item: Decisive) -> list[str]:
    cause = f"Cause: {item.cause}." if item.cause else ""
    return [text for text in (f"{item.headline}.", f"Limit: {item.limit}.", cause, item.detail, item.why) if text]


def _zone_lines(screening: Screening) -> list[str]:
    widths = (18, *(width for _, _, width, _ in TABLE), 3)
    rows = [("zone", *(head for _, head, _, _ in TABLE), "")]
    for record in screening.zones.to_dict("records"):
        cells = [str(record["zone"])]
        for name, _, width, banded in TABLE:
            cells.append(_with_band(record, name, width) if banded else number(record[name]))
        rows.append((*cells, f"[{VERDICTS[str(record['risk'])].sign}]"))
    return columns(rows, widths)


def _with_band(record: Mapping[Any, Any], name: str, width: int) -> str:
    """Return a median with its band in brackets, coarser when it would be cut."""
    text = number(record[name])
    for digits in (2, 1):
        band = span(record.get(f"{name}_p10"), record.get(f"{name}_p90"), digits)
        if band and len(text) + len(band) + 3 <= width:
            return f"{text} ({band})"
    return text


def _check_lines(screening: Screening) -> list[str]:
    rows = [("", "zone", "quantity", "limit", "median", "p10-p90", "met in")]
    checks = check_rows(screening)
    for r in checks[:MOST_CHECKS]:
        star = "*" if r["house"] else ""
        rows.append(
            (
                f"[{r['look'].sign}]",
                r["zone"],
                r["quantity"],
                r["limit"] + star,
                r["median"],
                r["band"],
                r["probability"],
            )
        )
    lines = columns(rows, (3, 20, 22, 14, 11, 12, 6))
    if len(checks) > MOST_CHECKS:
        lines.append(f"... and {len(checks) - MOST_CHECKS} more, none worse; all of them are in the report")
    if any(r["house"] for r in checks):
        lines.append("* house default of castq, not from your drawing")
    signs = ", ".join(f"[{VERDICTS[v].sign}] {v}" for v in ("fails", "at risk", "not decided", "pass", "no limit"))
    return [*lines, signs] if checks else ["no limit was held against the wheel"]


def _hydrogen_lines(screening: Screening) -> list[str]:
    rows = room_rows(screening.hydrogen_room)
    if not rows:
        return []
    cells = [(">" if r.decides else "", r.zone, r.limit, r.at_90, r.at_50, r.note) for r in rows[:-1]]
    together = ("", rows[-1].zone, "", rows[-1].at_90, rows[-1].at_50, "")
    head = ("", "zone", "limit", "at 90 %", "at 50 %", "in the draws")
    lines = columns([head, *cells, together], (1, 20, 22, 7, 7, 35), " ")
    none = [NONE_WORDS] if "none" in (r.at_90 for r in rows) else []
    head_lines = title("Hydrogen this design stands, ml/100g (> decides)")
    return [*head_lines, *lines, *(wrapped(text, "  ") for text in (rows[-1].note, *none))]


def _warning_lines(warnings: Sequence[str], most: int = 8) -> list[str]:
    lines = title(f"Warnings: {len(warnings)}")
    lines += [wrapped(text, "  ! ") for text in warnings[:most]]
    if len(warnings) > most:
        lines.append(f"  ... and {len(warnings) - most} more in the report")
    return lines


def comparison_text(comparison: Comparison) -> str:
    """Return a comparison as text: verdict, what speaks for each side, the differences, warnings, banner.

    Parameters
    ----------
    comparison : Comparison
        The result.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    look = VERDICTS[comparison.verdict]
    lines = [line(f"A: {comparison.a.case.name}"), line(f"B: {comparison.b.case.name}")]
    lines.append(f"[{look.sign}] {look.word.upper()}")
    for name, one in (("A", comparison.a), ("B", comparison.b)):
        own, met = VERDICTS[one.verdict], percent(one.probability_ok)
        lines.append(f"    {name} by itself: {own.word.lower()}, every decided limit met in {met} of the draws")
    for name in ("A", "B"):
        rows = strongest(comparison, f"{name} better")
        lines += ["", f"What speaks for {name}:" + ("" if rows else " no difference outside the scatter")]
        lines += [wrapped(_argument(r), "  - ") for r in rows]
    lines += [
        *title("B less A, over the same draws (LST local solidification time; B better: probability)"),
        *_difference_lines(comparison),
    ]
    for name, one in (("A", comparison.a), ("B", comparison.b)):
        if one.solid is not None:
            told = (wrapped(text, "  ") for text in solid_lines(one.solid))
            lines += [*title(f"Solved field of {name}"), *told]
    for where, roles in (("only in A", comparison.only_in_a), ("only in B", comparison.only_in_b)):
        if roles:
            lines.append(line(f"not compared, {where}: {', '.join(roles)}"))
    lines += _warning_lines(
        tuple(dict.fromkeys((*comparison.warnings, *comparison.a.warnings, *comparison.b.warnings)))
    )
    return "\n".join([*lines, "", *(wrapped(text) for text in cautions_for("compare")[:3])])


def _with(text: str, unit: str) -> str:
    return f"{text} {unit}".strip()


def _argument(r: dict[str, Any]) -> str:
    return (
        f"{r['role']}, {r['quantity']}: A {_with(r['a'], r['unit'])}, B {_with(r['b'], r['unit'])}, "
        f"B less A {_with(r['difference'], r['unit'])} ({r['band']}), "
        f"{r['better']} is better, B better with {r['probability']}"
    )


def _difference_lines(comparison: Comparison) -> list[str]:
    rows = [("", "place", "quantity", "unit", "A", "B", "B less A (p10 to p90)", "B better")]
    told = [r for r in difference_rows(comparison) if r["verdict"] != "no difference"]
    for r in told:
        quantity = r["quantity"].replace("Local solidification time", "LST")
        rows.append((f"[{r['look'].sign}]", r["role"], quantity, r["unit"] or DASH, r["a"], r["b"],
                     f"{r['difference']} ({r['band']})", r["probability"]))  # fmt: skip
    rest = len(comparison.differences) - len(told)
    lines = columns(rows, (3, 18, 18, 4, 6, 6, 28, 8), " ") if told else []
    note = f"{rest} others" if told else f"all {rest}"
    note += " show no difference; all of them are in the report"
    return [*lines, note, *(["[A] A better, [B] B better"] if told else [])]

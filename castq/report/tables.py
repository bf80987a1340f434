"""Rows for people: the zone table turned so that the chain reads downwards, checks, differences, sources, settings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from castq.core.nomenclature import unit_of
from castq.core.relation import PROVENANCE_WORDS, REGISTRY
from castq.report.colours import VERDICTS, VerdictLook
from castq.report.words import DASH, SIDE_SIGNS, beside, decisive, given, number, percent, span, unit_text, with_unit
from castq.screening.columns import BY_NAME
from castq.screening.types import Case, Check, Comparison, Difference, Screening

GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Shape", ("volume_cm3", "section_mm", "wall_mm", "typical_mm", "choke_mm", "freezes_after")),
    ("Freezing", ("local_solidification_time_s", "solid_time_s", "cutoff_time_s", "cooling_rate_k_per_s")),
    ("Structure", ("sdas_um", "sdas_finest_um", "sdas_coarsest_um")),
    ("Soundness", ("feeding_margin", "niyama", "gas_porosity_pct", "shrinkage_porosity_pct", "porosity_pct",
                   "pore_size_um", "largest_pore_um", "hydrogen_limit_ml_100g")),
    ("Properties", ("ys_mpa", "uts_mpa", "elongation_pct", "hardness_hb", "quality_index_mpa",
                    "fatigue_strength_mpa")),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of the zone table: median, p10 to p90, and the check that holds a limit against it."""

    text: str
    band: str
    limit: str
    look: VerdictLook | None


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity over all zones."""

    label: str
    unit: str
    meaning: str
    cells: tuple[Cell, ...]


def zone_groups(screening: Screening) -> list[tuple[str, list[Row]]]:
    """Return the zone table in the order of the chain, one row a quantity, one cell a zone; empty rows left out."""
    checks = {(c.zone, c.quantity): c for c in screening.checks}
    records = screening.zones.to_dict("records")
    groups = []
    for title, names in GROUPS:
        rows = [_row(name, records, checks) for name in names if name in screening.zones.columns]
        rows = [row for row in rows if any(cell.text != DASH for cell in row.cells)]
        if rows:
            groups.append((title, rows))
    return groups


def _row(name: str, records: list[dict[Any, Any]], checks: dict[tuple[str, str], Check]) -> Row:
    column = BY_NAME[name]
    cells = tuple(_cell(name, record, checks.get((str(record["zone"]), name))) for record in records)
    return Row(column.label, unit_text(column.unit), column.meaning, cells)


def _cell(name: str, record: dict[Any, Any], check: Check | None) -> Cell:
    value = record[name]
    text = value if isinstance(value, str) else number(value)
    band = span(record.get(f"{name}_p10"), record.get(f"{name}_p90"))
    if check is None:
        return Cell(text, band, "", None)
    house = "*" if check.house_default else ""
    return Cell(text, band, f"{SIDE_SIGNS[check.operator]} {check.limit:g}{house}", VERDICTS[check.verdict])


def zone_heads(screening: Screening) -> list[tuple[str, str, VerdictLook]]:
    """Return name, role and verdict of each zone; the role only where it differs from the name."""
    table = screening.zones
    return [
        (str(zone), "" if role == zone else str(role), VERDICTS[str(risk)])
        for zone, role, risk in zip(table["zone"], table["role"], table["risk"], strict=True)
    ]


def worst_zone(screening: Screening) -> int:
    """Return the place in the zone table of the zone that decides the verdict; 0 when no limit was held against any."""
    names = [str(zone) for zone in screening.zones["zone"]]
    first = [item.zone for item in decisive(screening, 1)]
    return names.index(first[0]) if first and first[0] in names else 0


def check_rows(screening: Screening) -> list[dict[str, Any]]:
    """Return the verdict sheet, worst first, as texts."""
    ordered = sorted(screening.checks, key=lambda c: (-VERDICTS[c.verdict].rank, c.probability_ok))
    return [
        {"zone": c.zone, "quantity": BY_NAME[c.quantity].label if c.quantity in BY_NAME else c.quantity,
         "limit": f"{SIDE_SIGNS[c.operator]} {given(c.limit, c.unit)}", "house": c.house_default,
         "median": with_unit(c.median, c.unit), "band": span(c.p10, c.p90), "probability": percent(c.probability_ok),
         "look": VERDICTS[c.verdict], "comment": c.comment}
        for c in ordered
    ]  # fmt: skip


def difference_grid(
    comparison: Comparison,
) -> tuple[list[str], list[tuple[dict[str, Any], list[dict[str, Any] | None]]]]:
    """Return the roles, and for each quantity its head and one difference a role (None where there is none)."""
    found = {(d.role, d.quantity): _difference(d) for d in comparison.differences}
    roles = list(dict.fromkeys(d.role for d in comparison.differences))
    quantities = list(dict.fromkeys(d.quantity for d in comparison.differences))
    grid = []
    for quantity in quantities:
        cells = [found.get((role, quantity)) for role in roles]
        grid.append((next(cell for cell in cells if cell), cells))
    return roles, grid


def difference_rows(comparison: Comparison) -> list[dict[str, Any]]:
    """Return the differences as texts, in the order given."""
    return [_difference(d) for d in comparison.differences]


def _difference(d: Difference) -> dict[str, Any]:
    same = d.p10 == d.p90 == 0.0
    step = beside(d.difference, d.a_median)
    sign = "+" if d.difference > 0 and step.strip("0.") else ""
    return {
        "role": d.role, "quantity": BY_NAME[d.quantity].label if d.quantity in BY_NAME else d.quantity,
        "unit": unit_text(d.unit), "better": d.better_is, "a": number(d.a_median), "b": number(d.b_median),
        "difference": "0" if same else sign + step,
        "band": "" if same else f"{beside(d.p10, d.a_median)} to {beside(d.p90, d.a_median)}",
        "probability": "same" if same else percent(d.probability_b_better), "look": VERDICTS[d.verdict],
        "verdict": d.verdict,
    }  # fmt: skip


def strongest(comparison: Comparison, side: str, count: int = 3) -> list[dict[str, Any]]:
    """Return the differences that speak most clearly for one side, one for each role.

    Parameters
    ----------
    comparison : Comparison
        The result.
    side : {"A better", "B better"}
        The side.
    count : int
        Most rows to return [-].

    Returns
    -------
    list of dict
        Rows as in `difference_rows`.
    """
    own = [d for d in comparison.differences if d.verdict == side]
    own.sort(key=lambda d: -abs(d.difference) / max(abs(d.a_median), 1e-12))
    chosen: dict[str, Difference] = {}
    for d in own:
        chosen.setdefault(d.role, d)
    return [_difference(d) for d in list(chosen.values())[:count]]


def source_rows(ids: tuple[str, ...]) -> list[dict[str, str]]:
    """Return the card of each relation used, as texts; an id that is not in the register says so."""
    rows = []
    for name in sorted(set(ids)):
        card = REGISTRY.get(name)
        if card is None:
            rows.append({"id": name, "title": "not in this version's register", "source": DASH, "provenance": DASH,
                         "kind": DASH, "valid": DASH, "band": DASH})  # fmt: skip
            continue
        valid = "; ".join(_range(argument, limits) for argument, limits in card.valid.items())
        rows.append({
            "id": card.id, "title": card.title, "source": card.source, "provenance": PROVENANCE_WORDS[card.provenance],
            "kind": "engineering closure" if card.closure else "relation",
            "valid": valid or "no bound stated", "band": str(card.band),
        })  # fmt: skip
    return rows


def _range(argument: str, limits: tuple[float, float]) -> str:
    unit = unit_of(argument)
    words = argument
    for ending in ("_" + (unit or "").replace("/", "_").lower(), "_pct", "_um", "_c", "_s", "_mm"):
        if unit and words.endswith(ending):
            words = words.removesuffix(ending)
            break
    return f"{words.replace('_', ' ')} {number(limits[0])}{DASH}{number(limits[1])} {unit_text(unit or '')}".strip()


def setting_rows(case: Case) -> list[tuple[str, str]]:
    """Return the process settings of a case as name and value with unit."""
    melt, tool, heat = case.melt, case.tool, case.treatment
    rows = [
        ("Alloy", case.alloy.id),
        ("Composition", f"Si {_g(melt.silicon_wt_pct)}, Mg {_g(melt.magnesium_wt_pct)}, "
         f"Fe {_g(melt.iron_wt_pct)}, Cu {_g(melt.copper_wt_pct)} wt%; Sr {_g(melt.strontium_ppm)} ppm"),
        ("Melt", f"{given(melt.melt_temp_c, 'degC')}, hydrogen {given(melt.hydrogen_ml_100g, 'ml/100g')}, "
         f"oxide factor {_g(melt.cleanliness)}"),
        ("Casting", f"{tool.route}, hold {given(tool.hold_pressure_bar, 'bar')}, "
         f"head {given(tool.metal_head_mm, 'mm')}"),
        ("Die", f"{tool.die.id}, wall {given(tool.die_wall_mm, 'mm')}"),
        ("Die start temperature", _by_role(tool.die_temp_c, "degC")),
        ("Interface, contact", _by_role(tool.contact_w_m2k, "W/m2K")),
        ("Interface, gap", _by_role(tool.gap_w_m2k, "W/m2K")),
        ("Heat treatment", f"{heat.temper}; solution {given(heat.solution_time_h, 'h')} at "
         f"{given(heat.solution_temp_c, 'degC')}, quench {given(heat.quench_rate_k_s, 'K/s')}, "
         f"ageing {given(heat.ageing_time_h, 'h')} at {given(heat.ageing_temp_c, 'degC')}"),
    ]  # fmt: skip
    if case.calibration.name:
        rows.append(("Calibration", case.calibration.name))
    if tool.rim_flow_formed:
        rows.append(("Rim", "flow formed after casting; screened as its cast preform"))
    return rows


def _g(value: float) -> str:
    return given(value, "")


def _by_role(values: Any, unit: str) -> str:
    distinct = {_g(v) for v in values.values()}
    if len(distinct) == 1:
        return f"{distinct.pop()} {unit_text(unit)} everywhere"
    return ", ".join(f"{role} {_g(v)}" for role, v in values.items()) + f" {unit_text(unit)}"

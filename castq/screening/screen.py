"""Screen one design: run the chain, hold it against the limits, and say what drives the uncertainty."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from castq.core.cautions import cautions_for
from castq.core.nomenclature import in_words, unit_of
from castq.core.relation import REGISTRY
from castq.core.sampling import Draws
from castq.physics.structure import sdas_published
from castq.screening.chain import (
    STAGES,
    WALL_RELATION,
    ChainResult,
    Zones,
    feeding_rows,
    run_chain,
    settings_of,
)
from castq.screening.columns import COLUMNS, PREDICTED
from castq.screening.drivers import drivers_of
from castq.screening.hydrogen_room import hydrogen_room
from castq.screening.ranges import EDGE, FAR, OUTSIDE, widened
from castq.screening.room_records import HydrogenRoom
from castq.screening.solid_records import SolidSummary, ZoneAnchors
from castq.screening.types import Case, Screening, Section, Verdict
from castq.screening.uncertain import draw_all
from castq.screening.verdict import FEEDING_OPEN, FEEDING_STEP, check_limits, feeding_limits, worst

Array = NDArray[np.float64]

FLOW_FORMED = "flow formed after casting: its final properties are outside the relations"
WORKED_ROLES = ("rim well", "inboard flange", "outboard flange")
WORKED_QUANTITIES = ("ys_mpa", "uts_mpa", "elongation_pct", "hardness_hb", "quality_index_mpa", "fatigue_strength_mpa")


def zones_of(sections: Sequence[Section]) -> Zones:
    """Return sections as arrays for the chain."""
    rows = {section.zone: row for row, section in enumerate(sections)}
    return Zones(
        roles=tuple(section.role for section in sections),
        wall_mm=np.array([section.wall_mm for section in sections]),
        choke_mm=np.array([section.choke_mm for section in sections]),
        feeder=feeding_rows(rows, tuple(section.feeds_from for section in sections)),
        distance_mm=np.array([section.feed_distance_mm for section in sections]),
    )


class Solved(Protocol):
    """What a screening takes from solid depth; `castq.screening.solid.SolidDepth` is one."""

    @property
    def zones(self) -> ZoneAnchors:
        """What the solved field says of each zone."""

    @property
    def summary(self) -> SolidSummary:
        """What a report prints about it."""


def screen(case: Case, *, draws: int = 256, seed: int = 1, solid: Solved | None = None) -> Screening:
    """Screen one design.

    Parameters
    ----------
    case : Case
        The design.
    draws : int
        Number of random draws [-].
    seed : int
        Seed of the draws; the same seed gives the same draws for any design.
    solid : Solved, optional
        The solved field of the real shape: the zone table then rests on it, else on the wall sections.

    Returns
    -------
    Screening
        Zone table, verdict sheet, drivers, warnings and cautions.

    Raises
    ------
    InputError
        If a wall never freezes with these settings.
    """
    drawn = draw_all(draws, seed)
    zones = zones_of(case.sections)
    result = run_chain(zones, settings_of(case), drawn, None if solid is None else solid.zones)
    room = hydrogen_room(case, result)
    undecided, notes = judge_ranges(result, case)
    samples = {name: result.samples[name] for name in PREDICTED}
    depth_notes = _parts_left_out(case) if solid is None else solid.summary.notes
    limits = (*feeding_limits(case.sections, FEEDING_STEP if solid is None else FEEDING_OPEN), *case.limits)
    checks, probability = check_limits(case.sections, limits, samples, undecided)
    verdicts = [worst([c.verdict for c in checks if c.zone == s.zone]) for s in case.sections]
    table = zone_table(case.sections, samples, verdicts)
    table["hydrogen_limit_ml_100g"] = _median_limits(case.sections, room)
    published = sdas_published(table["local_solidification_time_s"].to_numpy(), case.alloy.freezing_range_k)
    table["sdas_finest_um"] = np.min(list(published.values()), axis=0)
    table["sdas_coarsest_um"] = np.max(list(published.values()), axis=0)
    return Screening(
        case=case,
        zones=table[table_columns()],
        checks=checks,
        verdict=worst(verdicts),
        probability_ok=probability,
        drivers=drivers_of(case.sections, samples, drawn),
        relations=tuple(sorted({*_used(result), *room.relations, *published, *_used_in_field(solid)})),
        warnings=(*case.warnings, *_case_notes(case), *notes, *depth_notes),
        cautions=cautions_for("screen"),
        seed=seed,
        draws=draws,
        samples=samples,
        undecided=undecided,
        depth="section" if solid is None else "solid",
        solid=None if solid is None else solid.summary,
        hydrogen_room=room,
    )


def _used(result: ChainResult) -> set[str]:
    """Return the ids of the relations that the chain used."""
    return {name for trace in result.traces.values() for name in trace.used}


def _used_in_field(solid: Solved | None) -> tuple[str, ...]:
    """Return the ids of the relations that the solved field used before the chain."""
    if solid is None:
        return ()
    return ("niyama-from-times", *(("grid-convergence-index",) if solid.summary.grid_study else ()))


def table_columns() -> list[str]:
    """Return the columns of the zone table in order, p10 and p90 behind each predicted one."""
    names: list[str] = []
    for column in COLUMNS:
        names += [column.name] + ([f"{column.name}_p10", f"{column.name}_p90"] if column.predicted else [])
    return names


def zone_table(sections: Sequence[Section], samples: Mapping[str, Array], verdicts: Sequence[Verdict]) -> pd.DataFrame:
    """Return the zone table without the hydrogen limits.

    Parameters
    ----------
    sections : sequence of Section
        The zones.
    samples : mapping of quantity to array (zones, draws)
        Draws, in the column's unit.
    verdicts : sequence of Verdict
        Worst verdict of each zone.
    """
    table: dict[str, object] = {
        "zone": [section.zone for section in sections],
        "role": [section.role for section in sections],
        "freezes_after": [section.feeds_from for section in sections],
        "risk": list(verdicts),
    }
    for name in ("volume_cm3", "section_mm", "wall_mm", "typical_mm", "choke_mm"):
        table[name] = [getattr(section, name) for section in sections]
    for name, values in samples.items():
        low, middle, high = _bands(values)
        table |= {name: middle, f"{name}_p10": low, f"{name}_p90": high}
    return pd.DataFrame(table)


def _bands(values: Array) -> Array:
    """Return p10, median and p90 of each row, array (3, rows); rows without a finite value give NaN."""
    kept = np.where(np.isinf(values), np.nan, values)
    return np.asarray(np.percentile(kept, [10, 50, 90], axis=1))


def judge_ranges(result: ChainResult, case: Case) -> tuple[dict[tuple[int, str], str], tuple[str, ...]]:
    """Widen, mark or drop what rests on a relation used outside its range.

    An edge use widens the band by half; an outside one keeps the number but decides nothing; a far one drops it.

    Returns
    -------
    dict of (row, quantity) to str, tuple of str
        Why a prediction may not decide, and the warnings in words.
    """
    undecided: dict[tuple[int, str], str] = {}
    count = len(case.sections)
    for quantity in PREDICTED:
        for row, state in enumerate(result.states(quantity, count)):
            if state == EDGE:
                result.samples[quantity][row] = widened(result.samples[quantity][row])
            elif state >= OUTSIDE:
                undecided[row, quantity] = "a relation behind it is used outside its range"
            if state == FAR:
                result.samples[quantity][row] = np.nan
    if case.tool.rim_flow_formed:
        worked = [row for row, section in enumerate(case.sections) if section.role in WORKED_ROLES]
        undecided |= {(row, quantity): FLOW_FORMED for row in worked for quantity in WORKED_QUANTITIES}
    return undecided, tuple(dict.fromkeys(_range_notes(result, case)))


def _range_notes(result: ChainResult, case: Case) -> list[str]:
    notes = []
    for stage in STAGES:
        for (name, argument), rows in result.traces[stage].excursions.items():
            low, high = REGISTRY[name].valid[argument]
            states = np.broadcast_to(rows, len(case.sections))
            for state, word in ((EDGE, "at the edge of"), (OUTSIDE, "outside"), (FAR, "far outside")):
                zones = [s.zone for s, found in zip(case.sections, states, strict=True) if found == state]
                if zones:
                    span = f"{low:g} to {high:g}" if np.isfinite(high) else f"{low:g} and above"
                    # The walls of other zones reach these numbers along the way that feeds.
                    way = "the way that feeds " if name == WALL_RELATION and stage != "freezing" else ""
                    notes.append(
                        f"{way}{', '.join(zones)}: relation {name} is used {word} its range, "
                        f"{in_words(argument)} {span} {unit_of(argument) or ''}".rstrip()
                        + _CONSEQUENCE[state]
                    )
    return notes


_CONSEQUENCE = {
    EDGE: "; the band is widened by half",
    OUTSIDE: "; what rests on it decides nothing",
    FAR: "; no number is given",
}


def _parts_left_out(case: Case) -> tuple[str, ...]:
    """Say that section depth does not know the parts of the tool."""
    parts = case.parts
    if not (parts.circuits or parts.bodies or parts.die or parts.feeders or parts.gate or parts.cycle):
        return ()
    return ("the parts of the tool in the case file count only at solid depth (--depth solid); here they are left out",)


def _case_notes(case: Case) -> list[str]:
    notes = []
    if case.tool.rim_flow_formed:
        notes.append(f"the rim is screened as its cast preform; it is {FLOW_FORMED}")
    if not case.alloy.heat_treatable and case.treatment.temper != "F":
        notes.append(f"{case.alloy.id} is not aged: screened as cast, whatever the temper says")
    return notes


def _median_limits(sections: Sequence[Section], room: HydrogenRoom) -> list[float]:
    """Return for each zone the hydrogen at which its median porosity meets its limit; NaN where there is none."""
    by_zone = {zone.zone: zone.at(0.5) for zone in room.zones if zone.quantity == "porosity_pct"}
    return [by_zone.get(section.zone, float("nan")) for section in sections]


def batch_table(cases: Sequence[Case], drawn: Draws) -> pd.DataFrame:
    """Run many cases that share alloy, melt, die and treatment through the chain at once.

    Parameters
    ----------
    cases : sequence of Case
        Cases that differ in their sections only.
    drawn : dict of name to array (draws,)
        Draws from `draw_all`.

    Returns
    -------
    DataFrame
        The zone tables below each other, with a column `case`; no verdict.
    """
    stacked = [section for case in cases for section in case.sections]
    zones = zones_of(stacked)
    starts = np.repeat(
        np.cumsum([0] + [len(case.sections) for case in cases[:-1]]), [len(case.sections) for case in cases]
    )
    feeder = np.concatenate([zones_of(case.sections).feeder for case in cases])
    zones = Zones(
        zones.roles, zones.wall_mm, zones.choke_mm, np.where(feeder >= 0, feeder + starts, -1), zones.distance_mm
    )
    result = run_chain(zones, settings_of(cases[0]), drawn)
    samples = {name: result.samples[name] for name in PREDICTED}
    table = zone_table(stacked, samples, ["no limit"] * len(stacked))
    table.insert(0, "case", np.repeat([case.name for case in cases], [len(case.sections) for case in cases]))
    return table.drop(columns=["risk"])

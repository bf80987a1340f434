"""Improvements and sweeps for other programs: JSON documents and CSV tables; text never becomes a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from castq import __version__
from castq.core.cautions import BANNER, cautions_for
from castq.core.nomenclature import SCHEMA_VERSION
from castq.core.quantities import KINDS
from castq.report.exports import rounded, safe_text
from castq.screening.improve import Ends, Improvement, Moved
from castq.screening.improve_trial import AFTER_SOLID_S, Target, Trial
from castq.screening.levers import Change, Lever
from castq.screening.outcome import Gain, Outcome
from castq.screening.sweep import Sweep, chance
from castq.screening.variant import Basis, fingerprint


def improvement_to_dict(result: Improvement) -> dict[str, Any]:
    """Return an improvement as one JSON document, as `schemas/improve.schema.json` describes it.

    Parameters
    ----------
    result : Improvement
        The result.

    Returns
    -------
    dict
        Plain data: no NaN, numbers at six significant digits, fixed order.
    """
    units = {moved.lever.name: _unit(moved.lever) for moved in result.moved}
    return {
        **_head("castq improvement", result.basis, result.base, result.targets),
        "closed_at_least_s": rounded(result.closed_s),
        "margin_after_solid_s": AFTER_SOLID_S,
        "grid": [_gain(gain, target) for gain, target in zip(result.grid, result.targets, strict=False)],
        "levers": [_moved(moved, result.targets, units) for moved in result.moved],
        "combinations": [_trial(trial, result.targets, units) for trial in result.combinations],
        "left_out": [asdict(entry) for entry in result.left_out],
        "budget": {"allowed": result.budget, "used": result.used, "short": result.short},
        **_tail(result.basis),
    }


def _head(schema: str, basis: Basis, base: Outcome, targets: Iterable[Target]) -> dict[str, Any]:
    case = basis.state.case
    return {
        "schema": schema,
        "schema_version": SCHEMA_VERSION,
        "banner": BANNER,
        "case": {"name": case.name, "alloy": case.alloy.id, "depth": basis.state.depth},
        "present": {
            "weight_kg": rounded(base.weight_kg), "solid_time_s": rounded(base.solid_time_s),
            "solid_late_s": rounded(base.solid_late_s), "last_zone": base.last_zone,
        },
        "targets": [
            {"name": target.name, "probability": rounded(target.probability),
             "limits": [{"zone": zone, "quantity": name, "operator": side} for zone, name, side in target.places]}
            for target in targets
        ],
    }  # fmt: skip


def _tail(basis: Basis) -> dict[str, Any]:
    case = basis.state.case
    return {
        "warnings": list(case.warnings),
        "cautions": list(cautions_for("improve")),
        "provenance": {
            "castq_version": __version__, "draws": basis.draws, "seed": basis.seed, "basis": fingerprint(basis),
            "inputs": [asdict(item) for item in case.inputs], "defaults_used": list(case.defaults_used),
        },
    }  # fmt: skip


def _unit(lever: Lever) -> str:
    return KINDS[lever.kind].base


def _moved(moved: Moved, targets: Sequence[Target], units: dict[str, str]) -> dict[str, Any]:
    lever = moved.lever
    ends = {name: None if trial is None else _trial(trial, targets, units)
            for name, trial in (("low", moved.low), ("high", moved.high))}  # fmt: skip
    return {
        "name": lever.name, "label": lever.label, "unit": _unit(lever), "moves": lever.moves, "cost": lever.cost,
        "hazard": lever.hazard, "present": rounded(moved.present), **ends,
    }  # fmt: skip


def _trial(trial: Trial, targets: Sequence[Target], units: dict[str, str]) -> dict[str, Any]:
    return {
        "change": [{"lever": name, "value": rounded(value), "unit": units[name]} for name, value in trial.change],
        "gains": [_gain(gain, target) for gain, target in zip(trial.gains, targets, strict=True)],
        "weight_kg": rounded(trial.weight_kg), "solid_time_s": rounded(trial.solid_time_s),
        "closed_at_least_s": rounded(trial.solid_late_s + AFTER_SOLID_S), "note": trial.note,
    }  # fmt: skip


def _gain(gain: Gain, target: Target) -> dict[str, Any]:
    return {
        "target": target.name, "value": rounded(gain.value), "low": rounded(gain.low), "high": rounded(gain.high),
        "room": rounded(gain.room), "undecided": list(gain.undecided),
    }  # fmt: skip


def improvement_csv(result: Improvement) -> str:
    """Return an improvement as CSV text, one row a variant; gains as shares, empty where a number is missing.

    Parameters
    ----------
    result : Improvement
        The result.

    Returns
    -------
    str
        CSV, comma and decimal point, lines ending in a line feed.
    """
    names = [moved.lever.name for moved in result.moved]
    gains = [f"{what}, {target.name}" for target in result.targets for what in ("gain", "gain_low", "gain_high")]
    heads = ["kind", *_lever_heads([moved.lever for moved in result.moved]), *gains, "weight_change_kg",
             "solid_time_change_s", "closed_at_least_s", "note"]  # fmt: skip
    alone = [trial for moved in result.moved for trial in (moved.low, moved.high) if trial is not None]
    rows: list[list[Any]] = []
    for kind, trials in (("alone", alone), ("together", result.combinations)):
        for trial in trials:
            values = [end for gain in trial.gains for end in (gain.value, gain.low, gain.high)]
            numbers = [*values, trial.weight_kg, trial.solid_time_s, trial.solid_late_s + AFTER_SOLID_S]
            rows.append([kind, *_lever_cells(names, trial.change), *map(_cell, numbers), safe_text(trial.note)])
    return _csv(heads, rows)


def sweep_to_dict(result: Sweep) -> dict[str, Any]:
    """Return a sweep as one JSON document, as `schemas/sweep.schema.json` describes it; the variants are in its CSV.

    Parameters
    ----------
    result : Sweep
        The result.

    Returns
    -------
    dict
        Plain data: no NaN, numbers at six significant digits, fixed order.
    """
    return {
        **_head("castq sweep", result.basis, result.base, result.targets),
        "variants": len(result.changes),
        "not_solved": sum(bool(note) for note in result.notes),
        "hypercube_seed": result.seed,
        "scatter_rank_correlation": rounded(chance(len(result.changes))),
        "levers": [_range(entry) for entry in result.ends],
        "effects": [{"result": e.result, "lever": e.lever, "share": rounded(e.share),
                     "rank_correlation": rounded(e.rank_correlation)} for e in result.effects],
        **_tail(result.basis),
    }  # fmt: skip


def _range(entry: Ends) -> dict[str, Any]:
    return {"name": entry.lever.name, "label": entry.lever.label, "unit": _unit(entry.lever),
            "low": rounded(entry.low), "high": rounded(entry.high)}  # fmt: skip


def sweep_csv(result: Sweep) -> str:
    """Return the variants of a sweep as CSV text: inputs, then results; empty where a number is missing.

    Parameters
    ----------
    result : Sweep
        The result.

    Returns
    -------
    str
        CSV, comma and decimal point, lines ending in a line feed.
    """
    levers = [entry.lever for entry in result.ends]
    names = [lever.name for lever in levers]
    rows = [
        [number, *_lever_cells(names, change), *(_cell(values[number - 1]) for values in result.results.values()),
         safe_text(result.notes[number - 1])]
        for number, change in enumerate(result.changes, start=1)
    ]  # fmt: skip
    return _csv(["variant", *_lever_heads(levers), *result.results, "note"], rows)


def effects_csv(result: Sweep) -> str:
    """Return the effects of a sweep as CSV text, one row a result and lever.

    Parameters
    ----------
    result : Sweep
        The result.

    Returns
    -------
    str
        CSV, comma and decimal point, lines ending in a line feed.
    """
    rows = [[e.result, e.lever, _cell(e.share), _cell(e.rank_correlation)] for e in result.effects]
    return _csv(["result", "lever", "share_of_variance", "rank_correlation"], rows)


def _lever_heads(levers: Iterable[Lever]) -> list[str]:
    return [f"{lever.name} [{_unit(lever)}]" for lever in levers]


def _lever_cells(names: Iterable[str], change: Change) -> list[str]:
    values = dict(change)
    return [_cell(values[name]) if name in values else "" for name in names]


def _cell(value: float) -> str:
    number = rounded(value)
    return "" if number is None else f"{number:.6g}"


def _csv(heads: Iterable[str], rows: Iterable[Iterable[Any]]) -> str:
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow([safe_text(head) for head in heads])
    writer.writerows(rows)
    return buffer.getvalue()

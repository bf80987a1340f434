"""Design B against design A over the same draws, role by role."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import input_error
from castq.screening.columns import BY_NAME
from castq.screening.types import Comparison, Difference, Screening

# Errors shared by two designs cancel; what is left when two like-for-like sections are compared.
# Share of the value, one standard deviation: time 10 % between designs in one die practice, SDAS as its cube root;
# porosity closures and what rests on them are coarser. Judgement, no source.
RESOLUTION: dict[str, float] = {
    "local_solidification_time_s": 0.10,
    "solid_time_s": 0.10,
    "sdas_um": 0.033,
    "feeding_margin": 0.10,
    "gas_porosity_pct": 0.15,
    "shrinkage_porosity_pct": 0.30,
    "porosity_pct": 0.20,
    "largest_pore_um": 0.08,
    "ys_mpa": 0.005,
    "uts_mpa": 0.010,
    "elongation_pct": 0.08,
    "fatigue_strength_mpa": 0.03,
}
# Differences smaller than this, in the column's unit, mean nothing on a wheel: common practice, no source.
FLOOR: dict[str, float] = {"gas_porosity_pct": 0.01, "shrinkage_porosity_pct": 0.02, "porosity_pct": 0.02}
SURE = 0.90


def probability_b_better(
    a: NDArray[np.float64], b: NDArray[np.float64], quantity: str, better: Literal["higher", "lower"]
) -> float:
    """Return the probability that B is better than A, given paired draws and the resolution of the comparison.

    Exactly antisymmetric: swapping A and B gives one minus the result, and A against itself gives one half.

    Parameters
    ----------
    a, b : array (draws,)
        Paired draws [unit of the quantity].
    quantity : str
        Column name, key of `RESOLUTION`.
    better : {"higher", "lower"}
        Which way is better.

    Returns
    -------
    float
        Probability [-].
    """
    from scipy.special import ndtr

    sign = 1.0 if better == "higher" else -1.0
    scale = RESOLUTION[quantity] * 0.5 * (np.abs(a) + np.abs(b)) + FLOOR.get(quantity, 1e-9)
    score = sign * (b - a) / scale
    above = float(np.mean(ndtr(score)))
    below = float(np.mean(ndtr(-score)))
    return above / (above + below)


def _verdict(probability: float) -> Literal["A better", "B better", "no difference"]:
    if probability >= SURE:
        return "B better"
    return "A better" if 1.0 - probability >= SURE else "no difference"


def _role_rows(screening: Screening) -> dict[str, int]:
    """Return for each role the row of its worst zone: the one with the longest local solidification time."""
    rows: dict[str, int] = {}
    times = screening.zones["local_solidification_time_s"].to_numpy()
    for row, role in enumerate(screening.zones["role"]):
        # A time too far outside to be given is the worst of all.
        if role not in rows or not times[row] <= times[rows[role]]:
            rows[role] = row
    return rows


def _differences(a: Screening, b: Screening, role: str, row_a: int, row_b: int) -> list[Difference]:
    found = []
    for quantity in RESOLUTION:
        draws_a, draws_b = a.samples[quantity][row_a], b.samples[quantity][row_b]
        if not (np.isfinite(draws_a).all() and np.isfinite(draws_b).all()):
            continue
        if (row_a, quantity) in a.undecided or (row_b, quantity) in b.undecided:
            continue
        column = BY_NAME[quantity]
        better: Literal["higher", "lower"] = "higher" if column.better == "higher" else "lower"
        probability = probability_b_better(draws_a, draws_b, quantity, better)
        change = draws_b - draws_a
        # Order statistics, not interpolation: swapping A and B then mirrors the band to the last bit.
        low, high = np.percentile(change, 10, method="lower"), np.percentile(change, 90, method="higher")
        found.append(
            Difference(
                role,
                quantity,
                column.unit,
                better,
                float(np.median(draws_a)),
                float(np.median(draws_b)),
                float(np.median(change)),
                float(low),
                float(high),
                probability,
                _verdict(probability),
            )
        )
    return found


# What decides between two designs at a glance; the other quantities follow from these.
DECIDING: tuple[str, ...] = ("porosity_pct", "elongation_pct", "fatigue_strength_mpa", "uts_mpa")


def compare(a: Screening, b: Screening) -> Comparison:
    """Hold design B against design A.

    Parameters
    ----------
    a, b : Screening
        Two screenings with the same seed and number of draws.

    Returns
    -------
    Comparison
        Differences role by role; the overall verdict is mixed when each design is better somewhere.

    Raises
    ------
    InputError
        If the draws differ, or no role is common to both designs.
    """
    if (a.seed, a.draws) != (b.seed, b.draws):
        raise input_error(
            "compare",
            "draws",
            "the two screenings used different draws",
            "the same seed and number of draws",
            "screen both again with the same --seed and --draws",
        )
    if a.depth != b.depth:
        raise input_error(
            "compare", "depth", f"A is screened at {a.depth} depth, B at {b.depth} depth", "the same depth",
            "screen both again with the same --depth",
        )  # fmt: skip
    rows_a, rows_b = _role_rows(a), _role_rows(b)
    common = [role for role in rows_a if role in rows_b]
    if not common:
        raise input_error(
            "compare",
            "zones",
            "the designs have no role in common",
            "at least one role in both",
            "use the same role names in both section tables",
        )
    differences = tuple(d for role in common for d in _differences(a, b, role, rows_a[role], rows_b[role]))
    words = {d.verdict for d in differences if d.quantity in DECIDING} - {"no difference"}
    overall: Literal["A better", "B better", "no difference", "mixed"] = "no difference"
    if len(words) == 1:
        overall = words.pop()
    elif words:
        overall = "mixed"
    return Comparison(
        a,
        b,
        differences,
        overall,
        only_in_a=tuple(role for role in rows_a if role not in rows_b),
        only_in_b=tuple(role for role in rows_b if role not in rows_a),
        warnings=(*_process_warnings(a, b), *_range_warnings(a, rows_a, b, rows_b, common)),
    )


def _range_warnings(
    a: Screening, rows_a: Mapping[str, int], b: Screening, rows_b: Mapping[str, int], common: Sequence[str]
) -> Iterator[str]:
    """Yield for each role what is not compared because a prediction of A or B decides nothing."""
    for role in common:
        left_out = [
            BY_NAME[quantity].label.lower()
            for quantity in RESOLUTION
            if (rows_a[role], quantity) in a.undecided or (rows_b[role], quantity) in b.undecided
        ]
        if left_out:
            yield f"{role}: not compared, because A or B is outside what the relations hold for: {', '.join(left_out)}"


def _process_warnings(a: Screening, b: Screening) -> tuple[str, ...]:
    """Return a warning for each part of the process that differs: the verdict then mixes shape and process."""
    parts = {
        "alloy": (a.case.alloy.id, b.case.alloy.id),
        "melt": (a.case.melt, b.case.melt),
        "heat treatment": (a.case.treatment, b.case.treatment),
        "calibration": (a.case.calibration, b.case.calibration),
        "die and feeding": (_tool_values(a), _tool_values(b)),
        "cooling, gate or cycle": (_parts_values(a), _parts_values(b)),
    }
    return tuple(
        f"the {name} differs between A and B: the verdict mixes shape and process"
        for name, (left, right) in parts.items()
        if left != right
    )


def _tool_values(screening: Screening) -> tuple[object, ...]:
    tool = screening.case.tool
    return (
        tool.route,
        tool.die.id,
        tool.die_wall_mm,
        dict(tool.die_temp_c),
        dict(tool.contact_w_m2k),
        dict(tool.gap_w_m2k),
        tool.hold_pressure_bar,
        tool.metal_head_mm,
        tool.rim_flow_formed,
    )


def _parts_values(screening: Screening) -> tuple[object, ...]:
    parts = screening.case.parts
    drawn = tuple((body.name, body.material.id) for body in (*parts.bodies, *parts.die))
    return parts.circuits, drawn, parts.feeders, parts.gate, parts.cycle

"""Limits held against predictions: the verdict sheet, and one verdict with its probability."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from castq.screening.columns import BY_NAME
from castq.screening.types import Check, Limit, Section, Verdict

# Common practice, no source: nine wheels in ten must meet a limit for a screening to call it a pass.
PASS_ABOVE = 0.90
FAIL_BELOW = 0.50
# Time steps toward the feeder: each place that feeds should stay open this much longer (judgement).
FEEDING_STEP = 1.10
# A solved field runs on across the seam of two zones, and with it the time at which the way closes: there is no step to
# ask for, only that nine tenths of the metal stay fed.
FEEDING_OPEN = 1.00

# Asked only of zones that another zone feeds.
FED_ONLY = ("feeding_margin", "niyama")

ORDER: tuple[Verdict, ...] = ("fails", "at risk", "not decided", "pass", "no limit")


def worst(verdicts: Sequence[Verdict]) -> Verdict:
    """Return the worst of the verdicts; "no limit" when there is none."""
    return min(verdicts, key=ORDER.index, default="no limit")


def classify(probability_ok: float) -> Verdict:
    """Return the verdict that belongs to a probability of meeting the limit [-]."""
    if probability_ok >= PASS_ABOVE:
        return "pass"
    return "at risk" if probability_ok >= FAIL_BELOW else "fails"


def meets(limit: Limit, values: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return for each draw whether it meets the limit."""
    return values >= limit.value if limit.operator == ">=" else values <= limit.value


def feeding_limits(sections: Sequence[Section], least: float = FEEDING_STEP) -> tuple[Limit, ...]:
    """Return the freezing-order limit for each role that is fed by another zone: a feeding margin of `least` [-]."""
    roles = dict.fromkeys(section.role for section in sections if section.feeds_from != "gate")
    return tuple(Limit(role, "feeding_margin", ">=", least, house_default=True) for role in roles)


def check_limits(
    sections: Sequence[Section],
    limits: Sequence[Limit],
    samples: Mapping[str, NDArray[np.float64]],
    undecided: Mapping[tuple[int, str], str],
) -> tuple[tuple[Check, ...], float]:
    """Hold every limit against every zone of its role.

    Parameters
    ----------
    sections : sequence of Section
        The zones, in the row order of the samples.
    limits : sequence of Limit
        The limits.
    samples : mapping of quantity to array (zones, draws)
        The draws, in the column's unit.
    undecided : mapping of (row, quantity) to str
        Why a prediction may not be used for a verdict.

    Returns
    -------
    tuple of Check, float
        The sheet, and the probability that all decided limits are met together [-]; NaN when none is decided.
    """
    checks = []
    together: NDArray[np.bool_] | None = None
    for limit in limits:
        for row, section in enumerate(sections):
            if section.role != limit.role:
                continue
            values = samples[limit.quantity][row]
            why = undecided.get((row, limit.quantity), "")
            if limit.quantity in FED_ONLY and section.feeds_from == "gate":
                continue
            if not why and np.isnan(values).any():
                why = "no value is known here"
            ok = meets(limit, values)
            probability = float(np.mean(ok))
            if not why:
                together = ok if together is None else together & ok
            low, middle, high = np.percentile(values, [10, 50, 90])
            checks.append(
                Check(
                    section.zone,
                    section.role,
                    limit.quantity,
                    limit.operator,
                    limit.value,
                    BY_NAME[limit.quantity].unit,
                    float(middle),
                    float(low),
                    float(high),
                    probability,
                    "not decided" if why else classify(probability),
                    limit.house_default,
                    why,
                )
            )
    return tuple(checks), float("nan") if together is None else float(np.mean(together))

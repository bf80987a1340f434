"""What is uncertain in a screening, by how much, and how each draw acts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from castq.core.sampling import Draws, normal_draws
from castq.geometry.roles import ROLES


@dataclass(frozen=True, slots=True)
class Uncertain:
    """One uncertain input.

    Attributes
    ----------
    name : str
        Name of the draw.
    acts : {"factor", "shift"}
        A factor exp(one_sigma * z) or a shift one_sigma * z.
    one_sigma : float
        Standard deviation, of the natural logarithm for a factor, else in `unit`.
    unit : str
        Unit of a shift.
    basis : str
        Where the spread comes from, in words.
    """

    name: str
    acts: Literal["factor", "shift"]
    one_sigma: float
    unit: str
    basis: str


def local_cooling(role: str) -> str:
    """Return the name of the draw for what cools one role differently from the rest of the die."""
    return f"local cooling, {role}"


UNCERTAIN: tuple[Uncertain, ...] = (
    Uncertain("interface", "factor", 0.30, "", "±40 % on the coefficient before plant calibration, judgement"),
    Uncertain("die temperature", "shift", 20.0, "K", "common practice, no source"),
    Uncertain("latent heat", "factor", 0.04, "", "handbook against computed values"),
    Uncertain("melt temperature", "shift", 5.0, "K", "common practice, no source"),
    Uncertain("SDAS relation", "factor", 0.15, "", "spread of the published relations"),
    Uncertain("hydrogen", "shift", 0.013, "ml/100g", "±0.01 and 7 % of the reading for a probe, from memory"),
    Uncertain("gas porosity estimate", "factor", 0.47, "", "factor 1.6, engineering closure"),
    Uncertain("shrinkage estimate", "factor", 0.40, "", "factor 1.5, engineering closure"),
    Uncertain("pore count", "factor", 0.70, "", "1 to 20 pores a mm3, from memory"),
    Uncertain("defect share on the fracture", "factor", 0.45, "", "5 times the volume share, 3 to 10"),
    Uncertain("yield strength", "shift", 12.0, "MPa", "anchored default chain"),
    Uncertain("elongation", "factor", 0.37, "", "specimen to specimen, anchors only"),
    Uncertain("defect sensitivity", "factor", 0.33, "", "18, from 11 to 25"),
    Uncertain("work hardening", "shift", 0.008, "-", "fit residual over 12 rows"),
    Uncertain("fatigue strength", "factor", 0.20, "", "anchors only"),
    *(
        Uncertain(local_cooling(role), "factor", 0.08, "", "place to place at equal section, judgement")
        for role in ROLES
    ),
)
BY_NAME: dict[str, Uncertain] = {entry.name: entry for entry in UNCERTAIN}


def draw_all(count: int, seed: int) -> Draws:
    """Return standard-normal draws (count,) for every uncertain input; count 1 gives the medians."""
    names = list(BY_NAME)
    if count == 1:
        return {name: np.zeros(1) for name in names}
    return normal_draws(names, count, seed)


def effect(draws: Draws, name: str, one_sigma: Mapping[str, float] | None = None) -> NDArray[np.float64]:
    """Return the factor or shift of one uncertain input, array (1, draws): one row for all zones.

    Parameters
    ----------
    draws : dict of name to array (draws,)
        Standard-normal draws [-].
    name : str
        Name of the uncertain input.
    one_sigma : mapping of name to float, optional
        Spreads that replace the defaults, for example after plant calibration.
    """
    entry = BY_NAME[name]
    spread = (one_sigma or {}).get(name, entry.one_sigma) * draws[name][None, :]
    return np.exp(spread) if entry.acts == "factor" else spread

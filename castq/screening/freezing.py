"""When each zone freezes: the one-dimensional wall solution, carried through the draws.

The wall is solved at 25 settings of the four inputs that shape its time (a central composite plan), and the logarithm
of each time is then a full quadratic in them: the draws cost a matrix product instead of thousands of runs. A test
holds the quadratic against the wall solution itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from castq.core.sampling import Draws
from castq.materials.types import Alloy, DieMaterial
from castq.screening.types import Calibration, Melt, Tool
from castq.screening.uncertain import BY_NAME, effect, local_cooling
from castq.thermal.curve import freezing_curve

Array = NDArray[np.float64]

SHAPING = ("interface", "die temperature", "latent heat", "melt temperature")
AXIAL = 2.0
# The plan's extreme settings stay this far inside what can freeze; its middle is the case itself. A die so hot that
# this bites is beyond the range of the wall relation, and is noted there.
MELT_ABOVE_LIQUIDUS_K = 1.0
DIE_BELOW_END_K = 20.0
# Natural logarithm of the step between the ends of solved wall ranges.
LADDER_STEP = 0.33
_CORNERS = np.array(list(product((-1.0, 1.0), repeat=len(SHAPING))))
_AXES = np.vstack([np.zeros(len(SHAPING)), AXIAL * np.eye(len(SHAPING)), -AXIAL * np.eye(len(SHAPING))])
PLAN = np.vstack([_AXES, _CORNERS])
PAIRS = tuple(combinations(range(len(SHAPING)), 2))


@dataclass(frozen=True, slots=True, eq=False)
class Freezing:
    """Times of walls over the draws, arrays (walls, draws) [s].

    Attributes
    ----------
    cutoff_s, solid_s, local_solidification_s : array (walls, draws)
        From pouring to feeding cut-off, from pouring to solid, and from liquidus to solid, mid-wall [s].
    """

    cutoff_s: Array
    solid_s: Array
    local_solidification_s: Array


def _terms(settings: Array) -> Array:
    """Return the terms of the quadratic for settings (n, inputs), array (n, terms) [-]."""
    cross = np.stack([settings[:, i] * settings[:, j] for i, j in PAIRS], axis=1)
    return np.hstack([np.ones((len(settings), 1)), settings, settings**2, cross])


_FIT: Array = np.asarray(np.linalg.pinv(_terms(PLAN)), dtype=float)
# The plan's first setting is its middle: for medians alone it is the whole plan, and the quadratic its first term.
MEDIAN_FIT: Array = np.eye(_FIT.shape[0], 1)


def _settings(draws: Draws, one_sigma: Mapping[str, float]) -> Array:
    """Return the draws of the shaping inputs in units of the plan's own spread, array (draws, inputs) [-]."""
    count = len(draws[SHAPING[0]])
    spread = [one_sigma.get(name, BY_NAME[name].one_sigma) / BY_NAME[name].one_sigma for name in SHAPING]
    return np.stack([np.broadcast_to(s * draws[n], count) for s, n in zip(spread, SHAPING, strict=True)], axis=1)


@dataclass(frozen=True, slots=True)
class _Place:
    """What the die does at one place: start temperature [degC] and interface coefficients [W/m2K]."""

    die_temp_c: float
    contact_w_m2k: float
    gap_w_m2k: float


@lru_cache(maxsize=64)
def _solved(
    wall_range_mm: tuple[float, float],
    place: _Place,
    alloy: Alloy,
    melt_temp_c: float,
    die: DieMaterial,
    die_wall_mm: float,
    medians: bool,
) -> tuple[Array, tuple[Array, ...]]:
    """Return the solved walls [mm] and the quadratics of their log times, each (walls, terms).

    The three are cut-off, solid and local solidification. Kept for the next call: neither draws, nor seed, nor the
    sections themselves enter.
    """
    plan, fit = (PLAN[:1], MEDIAN_FIT) if medians else (PLAN, _FIT)
    sigma = [BY_NAME[name].one_sigma for name in SHAPING]
    film = np.exp(sigma[0] * plan[:, 0])
    curve = freezing_curve(
        alloy=alloy,
        die=die,
        melt_temp_c=np.maximum(melt_temp_c + sigma[3] * plan[:, 3], alloy.liquidus_c + MELT_ABOVE_LIQUIDUS_K),
        die_temp_c=np.minimum(
            place.die_temp_c + sigma[1] * plan[:, 1],
            max(alloy.end_of_freezing_c - DIE_BELOW_END_K, place.die_temp_c),
        ),
        contact_w_m2k=place.contact_w_m2k * film,
        gap_w_m2k=place.gap_w_m2k * film,
        die_wall_mm=die_wall_mm,
        latent_heat_factor=np.exp(sigma[2] * plan[:, 2]),
        wall_range_mm=wall_range_mm,
    )
    times = (curve.solved.cutoff_s, curve.solved.solid_s, curve.solved.local_solidification_s)
    return curve.wall_mm, tuple(np.log(t) @ fit.T for t in times)


def _range_of(walls_mm: Array) -> tuple[float, float]:
    """Return a range that holds the walls, on a fixed ladder so that like cases share their solution [mm]."""
    low = np.floor(np.log(walls_mm.min()) / LADDER_STEP)
    high = np.maximum(np.ceil(np.log(walls_mm.max()) / LADDER_STEP), low + 2)
    return float(np.exp(low * LADDER_STEP)), float(np.exp(high * LADDER_STEP))


def _quadratics(walls_mm: Array, solved: tuple[Array, tuple[Array, ...]]) -> list[Array]:
    """Return the quadratics at walls between the solved ones, each (walls, terms): splines over the log wall."""
    nodes, fits = solved
    weights = CubicSpline(np.log(nodes), np.eye(nodes.size))(np.log(walls_mm))
    return [weights @ fit for fit in fits]


def freeze(
    walls_mm: Array,
    roles: Sequence[str],
    *,
    alloy: Alloy,
    melt: Melt,
    tool: Tool,
    calibration: Calibration,
    draws: Draws,
) -> Freezing:
    """Return when each wall freezes, over the draws.

    Parameters
    ----------
    walls_mm : array (walls,)
        Equivalent wall thickness [mm].
    roles : sequence of str
        Role of each wall; sets its die temperature and interface.
    alloy, melt, tool : Alloy, Melt, Tool
        What is poured into what.
    calibration : Calibration
        The plant's interface factor, and the spreads it knows.
    draws : dict of name to array (draws,)
        Standard-normal draws; count 1 gives the medians.

    Returns
    -------
    Freezing
        Times, arrays (walls, draws) [s].

    Raises
    ------
    InputError
        If a wall never freezes.
    """
    terms = _terms(_settings(draws, calibration.one_sigma)).T
    film = calibration.interface_factor
    by_role = {
        role: _Place(tool.die_temp_c[role], film * tool.contact_w_m2k[role], film * tool.gap_w_m2k[role])
        for role in dict.fromkeys(roles)
    }
    role_rows = {role: np.flatnonzero(np.array(roles) == role) for role in by_role}
    wall_range = _range_of(walls_mm)
    medians = not any(draws[name].any() for name in SHAPING)
    found = [np.empty((len(walls_mm), terms.shape[1])) for _ in range(3)]
    for role, place in by_role.items():
        rows = role_rows[role]
        solved = _solved(wall_range, place, alloy, melt.melt_temp_c, tool.die, tool.die_wall_mm, medians)
        local = effect(draws, local_cooling(role), calibration.one_sigma)
        for out, fit in zip(found, _quadratics(walls_mm[rows], solved), strict=True):
            out[rows] = np.exp(fit @ terms) * local
    return Freezing(*found)

"""When each zone freezes: the one-dimensional wall solution, carried through the draws.

The wall is solved at 25 settings of the four inputs that shape its time (a central composite plan), and the logarithm
of each time is then a full quadratic in them: the draws cost a matrix product instead of thousands of runs. A test
holds the quadratic against the wall solution itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from castq.core.sampling import Draws
from castq.materials.types import Alloy, DieMaterial
from castq.screening.types import Melt, Tool
from castq.screening.uncertain import BY_NAME, local_cooling
from castq.thermal.curve import freezing_curve

Array = NDArray[np.float64]

SHAPING = ("interface", "die temperature", "latent heat", "melt temperature")
AXIAL = 2.0
# The plan's extreme settings stay this far inside what can freeze.
MELT_ABOVE_LIQUIDUS_K = 1.0
DIE_BELOW_END_K = 20.0
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


_FIT = np.linalg.pinv(_terms(PLAN))


def _settings(draws: Draws, count: int) -> Array:
    """Return the draws of the shaping inputs, array (draws, inputs) [-]."""
    return np.stack([np.broadcast_to(draws[name], count) for name in SHAPING], axis=1)


@dataclass(frozen=True, slots=True)
class _Place:
    """What the die does at one place: start temperature [degC] and interface coefficients [W/m2K]."""

    die_temp_c: float
    contact_w_m2k: float
    gap_w_m2k: float


@lru_cache(maxsize=64)
def _plan_times(
    walls_mm: tuple[float, ...], place: _Place, alloy: Alloy, melt_temp_c: float, die: DieMaterial, die_wall_mm: float
) -> tuple[Array, ...]:
    """Return the quadratics of the log times, each (walls, terms): cut-off, solid, local solidification.

    Kept for the next call with the same walls: draws and seeds do not enter.
    """
    sigma = [BY_NAME[name].one_sigma for name in SHAPING]
    film = np.exp(sigma[0] * PLAN[:, 0])
    walls = np.array(walls_mm)
    curve = freezing_curve(
        alloy=alloy,
        die=die,
        melt_temp_c=np.maximum(melt_temp_c + sigma[3] * PLAN[:, 3], alloy.liquidus_c + MELT_ABOVE_LIQUIDUS_K),
        die_temp_c=np.minimum(place.die_temp_c + sigma[1] * PLAN[:, 1], alloy.end_of_freezing_c - DIE_BELOW_END_K),
        contact_w_m2k=place.contact_w_m2k * film,
        gap_w_m2k=place.gap_w_m2k * film,
        die_wall_mm=die_wall_mm,
        latent_heat_factor=np.exp(sigma[2] * PLAN[:, 2]),
        wall_range_mm=(0.95 * float(walls.min()), 1.05 * float(walls.max())),
    )
    times = curve.times(walls)
    return tuple(np.log(t) @ _FIT.T for t in (times.cutoff_s, times.solid_s, times.local_solidification_s))


def freeze(
    walls_mm: Array,
    roles: Sequence[str],
    *,
    alloy: Alloy,
    melt: Melt,
    tool: Tool,
    draws: Draws,
    film_factor: float = 1.0,
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
    draws : dict of name to array (draws,)
        Standard-normal draws; count 1 gives the medians.
    film_factor : float
        Plant calibration of the interface coefficient [-].

    Returns
    -------
    Freezing
        Times, arrays (walls, draws) [s].

    Raises
    ------
    InputError
        If a wall never freezes.
    """
    count = len(draws["interface"])
    terms = _terms(_settings(draws, count)).T
    places = [
        _Place(tool.die_temp_c[r], film_factor * tool.contact_w_m2k[r], film_factor * tool.gap_w_m2k[r]) for r in roles
    ]
    found = [np.empty((len(walls_mm), count)) for _ in range(3)]
    local = {role: np.exp(BY_NAME[local_cooling(role)].one_sigma * draws[local_cooling(role)]) for role in set(roles)}
    for place in dict.fromkeys(places):
        rows = np.array([i for i, p in enumerate(places) if p == place])
        factors = np.stack([local[roles[i]] for i in rows])
        fits = _plan_times(tuple(walls_mm[rows]), place, alloy, melt.melt_temp_c, tool.die, tool.die_wall_mm)
        for out, fit in zip(found, fits, strict=True):
            out[rows] = np.exp(fit @ terms) * factors
    return Freezing(*found)

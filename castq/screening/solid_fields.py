"""The chain on every voxel of the solved field, at its median."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from castq.physics.freezing import mean_cooling_rate
from castq.physics.shrinkage import STEP_MARGIN
from castq.screening.chain import ChainResult, run_places, settings_of
from castq.screening.ranges import FAR
from castq.screening.solid_feed import Feeding
from castq.screening.types import Case
from castq.thermal.solid import SolidTimes

Array = NDArray[np.float64]
Floats = NDArray[np.float32]

# What the chain adds to the solved field.
FROM_CHAIN: tuple[str, ...] = (
    "sdas_um", "gas_porosity_pct", "shrinkage_porosity_pct", "porosity_pct", "elongation_pct", "ys_mpa", "uts_mpa",
    "fatigue_strength_mpa",
)  # fmt: skip


def solid_fields(case: Case, times: SolidTimes, feeding: Feeding) -> dict[str, Floats]:
    """Return the solved field and what the chain makes of it, on every voxel.

    Parameters
    ----------
    case : Case
        The design.
    times : SolidTimes
        The solved field [s].
    feeding : Feeding
        How it is fed.

    Returns
    -------
    dict of str to float32 array (nx, ny, nz)
        In the unit the name ends in; NaN where unknown.
    """
    values = _values(times, feeding)
    local = values["local_solidification_time_s"]
    result = run_places(values, settings_of(case))
    fields = {name: _known(result, name) for name in FROM_CHAIN} | {
        "cooling_rate_k_per_s": mean_cooling_rate(case.alloy.freezing_range_k, local), "niyama": feeding.niyama,
        "feeding_margin": np.where(np.isfinite(feeding.margin), feeding.margin, np.nan),
    }  # fmt: skip
    return {
        "local_solidification_time_s": times.local_solidification_s, "solid_time_s": times.solid_s,
        "cutoff_time_s": times.cutoff_s, "liquidus_time_s": times.liquidus_s, "coherency_time_s": times.coherency_s,
        "gradient_k_mm": times.gradient_k_mm, "die_peak_c": times.die_peak_c,
        **{name: _on_grid(feeding, one) for name, one in fields.items()},
    }  # fmt: skip


def _on_grid(feeding: Feeding, values: NDArray[np.floating]) -> Floats:
    """Return values of the cells as a field."""
    flooded = feeding.paths.flood
    field = np.full(flooded.shape, np.nan, dtype=np.float32)
    field.ravel()[flooded.flat] = values
    return field


def elongation_lost(case: Case, times: SolidTimes, feeding: Feeding, cells: NDArray[np.int64]) -> Array:
    """Return the elongation that the pores of single cells take.

    Parameters
    ----------
    case : Case
        The design.
    times : SolidTimes
        The solved field [s].
    feeding : Feeding
        How it is fed.
    cells : int64 array (n,)
        Numbers of the cells in the flood [-].

    Returns
    -------
    array (n,)
        Elongation without gas and unfed metal less that with them [% elongation].
    """
    values = {name: one[cells] for name, one in _values(times, feeding).items()}
    settings = settings_of(case)
    fed = np.full(cells.size, np.inf)
    sound = run_places(
        values | {"niyama": fed, "shrinkage_margin": fed},
        replace(settings, melt=replace(case.melt, hydrogen_ml_100g=0.0)),
    )
    porous = run_places(values, settings)
    return sound.samples["elongation_pct"][:, 0] - porous.samples["elongation_pct"][:, 0]


def _values(times: SolidTimes, feeding: Feeding) -> dict[str, Array]:
    """Return what the chain takes for each cell: one that is cut off is a pool, any other is fed."""
    return {
        "local_solidification_time_s": times.local_solidification_s.ravel()[feeding.paths.flood.flat].astype(float),
        "niyama": feeding.niyama,
        "path_margin": feeding.pressed.astype(float),
        "shrinkage_margin": np.where(feeding.cut_off, 1.0, STEP_MARGIN),
    }


def _known(result: ChainResult, name: str) -> Array:
    """Return a quantity where the relations behind it hold, NaN far outside their range."""
    values = result.samples[name][:, 0]
    return np.where(result.states(name, values.size) == FAR, np.nan, values)

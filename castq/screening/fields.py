"""The chain on every voxel at its median: what pictures of the wheel are coloured by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from castq.geometry.mesh import Mesh
from castq.geometry.roles import ROLES
from castq.geometry.voxels import Grid
from castq.screening.chain import Zones, feeding_rows, run_chain, settings_of
from castq.screening.ranges import FAR
from castq.screening.shape import WheelShape
from castq.screening.types import Case, Screening
from castq.screening.uncertain import draw_all

SHOWN: tuple[str, ...] = (
    "local_solidification_time_s", "sdas_um", "gas_porosity_pct", "shrinkage_porosity_pct", "porosity_pct",
    "elongation_pct", "ys_mpa", "uts_mpa", "fatigue_strength_mpa",
)  # fmt: skip
# What the solved field adds to these.
SOLID_SHOWN: tuple[str, ...] = (
    *SHOWN, "solid_time_s", "cutoff_time_s", "cooling_rate_k_per_s", "feeding_margin", "niyama", "gradient_k_mm",
)  # fmt: skip
# Walls are rounded to this before the chain is run, so that each wall is solved once.
WALL_STEP_MM = 0.05
RISK_LEVEL = {"pass": 0.0, "no limit": 0.0, "not decided": 1.0, "at risk": 2.0, "fails": 3.0}


@dataclass(frozen=True, slots=True, eq=False)
class WheelFields:
    """The wheel as a picture needs it.

    Attributes
    ----------
    mesh : Mesh
        Surface, wheel axis along z, centred [mm].
    grid : Grid
        Voxel grid with the metal share of each cell.
    zone_codes : int8 array (nx, ny, nz)
        0 in the void, i + 1 in a cell of `ROLES[i]`.
    fields : mapping of name to float32 array (nx, ny, nz)
        Results on the cells, in the unit the name ends in; NaN where unknown.
    """

    mesh: Mesh
    grid: Grid
    zone_codes: NDArray[np.int8]
    fields: Mapping[str, NDArray[np.float32]]


class Solved(Protocol):
    """What pictures take from solid depth; `castq.screening.solid.SolidDepth` is one."""

    @property
    def fields(self) -> Mapping[str, NDArray[np.float32]]:
        """Results on the voxels."""


def wheel_fields(case: Case, shape: WheelShape, screening: Screening, solid: Solved | None = None) -> WheelFields:
    """Return the chain's medians on every voxel.

    Parameters
    ----------
    case : Case
        The design.
    shape : WheelShape
        Its measured shape.
    screening : Screening
        Its screening, for the verdict of each zone.
    solid : Solved, optional
        The solved field: the voxels then rest on it, else on the wall each lies in.

    Returns
    -------
    WheelFields
        Fields of `SHOWN`, with a solved field of `SOLID_SHOWN`; wall thickness [mm] and risk (0 pass, 1 not decided,
        2 at risk, 3 fails).
    """
    codes = shape.zones.codes
    metal = codes > 0
    if solid is None:
        fields = _from_walls(case, shape, metal)
    else:
        fields = {name: solid.fields[name] for name in SOLID_SHOWN}
    fields["wall_mm"] = _on_grid(shape.section.wall_mm[metal], metal)
    risk = {row.role: RISK_LEVEL[str(row.risk)] for row in screening.zones.itertuples()}
    by_code = np.array([0.0, *(risk.get(role, 0.0) for role in ROLES)])
    fields["risk"] = _on_grid(by_code[codes[metal]], metal)
    return WheelFields(shape.mesh, shape.grid, codes, fields)


def _from_walls(case: Case, shape: WheelShape, metal: NDArray[np.bool_]) -> dict[str, NDArray[np.float32]]:
    """Return the fields of `SHOWN` from the wall that each voxel lies in."""
    steps = np.round(shape.section.wall_mm[metal] / WALL_STEP_MM).astype(np.int64)
    keys, inverse = np.unique(steps * (len(ROLES) + 1) + shape.zones.codes[metal], return_inverse=True)
    walls, roles = WALL_STEP_MM * (keys // (len(ROLES) + 1)), keys % (len(ROLES) + 1) - 1
    values = _medians(case, np.maximum(walls, WALL_STEP_MM), [ROLES[i] for i in roles])
    return {name: _on_grid(values[name][inverse], metal) for name in SHOWN}


def _on_grid(values: NDArray[np.floating], metal: NDArray[np.bool_]) -> NDArray[np.float32]:
    field = np.full(metal.shape, np.nan, dtype=np.float32)
    field[metal] = values
    return field


def _medians(case: Case, walls_mm: NDArray[np.float64], roles: list[str]) -> dict[str, NDArray[np.float64]]:
    """Return the chain's medians for single walls, each fed by the zone that feeds its role; NaN as in the table."""
    known = {section.role: row for row, section in enumerate(case.sections)}
    feeders = feeding_rows(known, tuple(case.sections[known[role]].feeds_from for role in roles))
    own = feeding_rows(known, tuple(section.feeds_from for section in case.sections))
    first = len(case.sections)
    zones = Zones(
        roles=(*(section.role for section in case.sections), *roles),
        wall_mm=np.concatenate([[section.wall_mm for section in case.sections], walls_mm]),
        choke_mm=np.concatenate([[section.choke_mm for section in case.sections], walls_mm]),
        feeder=np.concatenate([own, feeders]),
        distance_mm=np.array([
            *(section.feed_distance_mm for section in case.sections),
            *(case.sections[known[role]].feed_distance_mm for role in roles),
        ]),
    )  # fmt: skip
    result = run_chain(zones, settings_of(case), draw_all(1, 0))
    far = {name: result.states(name, len(zones.roles))[first:] == FAR for name in SHOWN}
    return {name: np.where(far[name], np.nan, result.samples[name][first:, 0]) for name in SHOWN}

"""SYNTHETIC solid depth for the report tests: invented times on the invented wheel, a pool at the end of each spoke."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import report_sample as sample

from castq.feeding.flood import flood
from castq.feeding.islands import find_islands
from castq.feeding.paths import feeding_paths
from castq.feeding.regions import Evidence, Part, risk_regions
from castq.geometry.roles import CODE, ROLES
from castq.screening.fields import WheelFields
from castq.screening.solid import SolidDepth
from castq.screening.solid_records import CycleRow, GridStudy, GridZone, IslandRow, RegionRow, SolidSummary
from castq.screening.types import Comparison, Screening

SPACING_MM = 6.0
# Radius of the choke in each spoke, and of the place behind it that closes last [mm]; when they close [s].
CHOKE_MM, HOT_MM = 150.0, 200.0
CHOKE_S, HOT_S = 35.0, 60.0
LIMIT = 0.95


def _cutoff_s(wheel: WheelFields) -> np.ndarray:
    """Cut-off times that fall along the spoke to the choke and rise again behind it; NaN outside the metal."""
    x, y = (wheel.grid.origin_mm[i] + SPACING_MM * (np.arange(wheel.zone_codes.shape[i]) + 0.5) for i in range(2))
    r, angle = np.hypot(x[:, None], y), np.arctan2(y[None, :], x[:, None])
    radii = [40.0, 80.0, 130.0, CHOKE_MM, 175.0, HOT_MM, 215.0, 240.0]
    time = np.interp(r, radii, [100.0, 90.0, 45.0, CHOKE_S, 45.0, HOT_S, 30.0, 15.0])
    time = time - np.where(r > 185.0, 20.0 * (1.0 - np.cos(5.0 * angle)), 0.0)
    return np.where(wheel.zone_codes > 0, np.maximum(time, 10.0)[:, :, None], np.nan).astype(np.float32)


def _place_mm(wheel: WheelFields, cell: Any) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in wheel.grid.origin_mm + SPACING_MM * (np.asarray(cell, dtype=float) + 0.5))
    return x, y, z


@cache
def shape() -> tuple[WheelFields, SolidDepth]:
    """The wheel with all fields, and its solved depth."""
    wheel = sample.wheel_fields(SPACING_MM)
    cutoff = _cutoff_s(wheel)
    part = Part(wheel.grid.fraction, SPACING_MM, wheel.zone_codes, ROLES)
    flooded = flood(cutoff, wheel.zone_codes == CODE["hub"], spacing_mm=SPACING_MM, fraction=wheel.grid.fraction)
    islands = find_islands(flooded, shrinkage_pct=5.0, cutoff_fs=0.7, liquidus_s=cutoff / 4,
                           least_mm3=20_000.0)  # fmt: skip
    paths = feeding_paths(flooded, wheel.fields["wall_mm"])
    margin = flooded.on_grid(paths.margin).astype(np.float32)
    found = risk_regions(margin, LIMIT, part, above=False, evidence=Evidence(islands=islands), least_mm3=20_000.0)
    solved = {
        "liquidus_time_s": cutoff / 4, "coherency_time_s": cutoff / 2, "cutoff_time_s": cutoff,
        "solid_time_s": cutoff * 1.2, "cooling_rate_k_per_s": 60.0 / cutoff, "gradient_k_mm": cutoff / 50,
        "feeding_margin": margin, "niyama": np.where(margin < 1.0, np.nan, cutoff / 100).astype(np.float32),
        "die_peak_c": np.where(wheel.zone_codes > 0, 300.0 + cutoff, np.nan).astype(np.float32),
    }  # fmt: skip
    rows = tuple(
        RegionRow(_place_mm(wheel, r.middle), r.zone, 1e-3 * r.volume_mm3, "feeding_margin", LIMIT, r.worst, "-",
                  r.depth_mm, 1.4, r.cause)
        for r in found
    )  # fmt: skip
    pools = tuple(
        IslandRow(_place_mm(wheel, i.last_place), "spoke-rim junction", "spoke", i.cut_s, i.last_s, 1e-3 * i.volume_mm3,
                  1e-3 * i.shrinkage_mm3, f"a pool cut off at {i.cut_s:.0f} s by the spoke")
        for i in islands.cut_off
    )  # fmt: skip
    anything: Any = None
    summary = summary_of(pools, rows)
    return wheel, SolidDepth(anything, islands, paths, solved, anything, summary)


def summary_of(islands: tuple[IslandRow, ...] = (), regions: tuple[RegionRow, ...] = ()) -> SolidSummary:
    study = GridStudy(6.0, 9.0, 0.021, 0.058, 0.012, 1.0, 3.0,
                      (GridZone("hub", 100.0, 102.0, 0.04), GridZone("spoke", 50.0, 49.0, 0.05)),
                      "This is the error of the grid alone.")  # fmt: skip
    cycle = CycleRow(240.0, 6, 12, 0.8, 310.0, 430.0, "The die repeats itself after 6 shots of 240 s.")
    return SolidSummary(6.0, "one tenth, between two mirror planes", {"casting": 7837, "die": 47665}, 380, 1.4e-8, 2.1,
                        0.998, 1.0, "the hub, taken as the gate", study, islands, regions, cycle,
                        ("An invented note.",))  # fmt: skip


@cache
def screening(name: str = "Solid demo (synthetic)", factor: float = 1.0) -> Screening:
    return replace(sample.screening(name, factor), depth="solid", solid=shape()[1].summary)


@cache
def comparison() -> Comparison:
    return replace(sample.comparison(), a=screening("Design A (synthetic)"), b=screening("Design B (synthetic)", 0.86))


def hostile(payload: str) -> Screening:
    """A screening at solid depth with the payload in every text."""
    base = shape()[1].summary
    islands = tuple(replace(row, zone=payload, choked_by=payload, words=payload) for row in base.islands[:2])
    regions = tuple(replace(row, zone=payload, cause=payload, unit=payload) for row in base.regions[:2])
    study = replace(base.grid_study, words=payload, zones=(GridZone(payload, 1.0, 2.0, 0.1),))
    summary = replace(base, sector=payload, feeder=payload, cells={payload: 1}, grid_study=study, islands=islands,
                      regions=regions, cycle=replace(base.cycle, words=payload), notes=(payload,))  # fmt: skip
    return replace(sample.hostile(payload), depth="solid", solid=summary)

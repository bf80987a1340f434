"""The demo wheels by section depth: what closes behind the spoke, in A and in B (all SYNTHETIC)."""

from dataclasses import replace
from functools import cache

import numpy as np

from castq.feeding.flood import flood
from castq.feeding.islands import find_islands
from castq.feeding.paths import feeding_paths
from castq.feeding.regions import Evidence, Part, risk_regions
from castq.geometry.roles import CODE, ROLES
from castq.geometry.thickness import local_section
from castq.geometry.voxels import voxelise
from castq.geometry.wheel import build_wheel, demo_a, demo_b
from castq.geometry.zones import find_zones
from castq.materials import alloy
from castq.screening.freezing import freeze
from castq.screening.types import Calibration
from castq.screening.uncertain import draw_all
from tests.screening.cases import melt, tool

SPACING_MM = 3.0
DIE_C = dict(zip(ROLES, (390.0, 390.0, 350.0, 340.0, 320.0, 300.0, 250.0, 280.0), strict=True))
COLD_SPOKE = tool(die_temp_c=DIE_C, contact_w_m2k=dict.fromkeys(ROLES, 2500.0), gap_w_m2k=dict.fromkeys(ROLES, 700.0))


def times_on_voxels(codes, wall_mm, metal):
    """Return cut-off time and liquidus time of each voxel, from its own wall in its own zone."""
    step = 0.1
    keys, back = np.unique(np.round(wall_mm[metal] / step).astype(int) * 100 + codes[metal], return_inverse=True)
    walls, roles = np.maximum(keys // 100, 1) * step, [ROLES[i - 1] for i in keys % 100]
    found = freeze(
        walls, roles, alloy=alloy("AlSi7Mg0.3"), melt=melt(), tool=COLD_SPOKE, calibration=Calibration(),
        draws=draw_all(1, 0),
    )  # fmt: skip
    fields = []
    for values in (found.cutoff_s, found.solid_s - found.local_solidification_s):
        field = np.full(metal.shape, np.nan, dtype=np.float32)
        field[metal] = values[back, 0]
        fields.append(field)
    return fields


@cache
def fed(design):
    mesh = build_wheel(design, 10.0)
    grid = voxelise(mesh, SPACING_MM)
    codes, wall = find_zones(grid).codes, local_section(mesh, grid).wall_mm
    cutoff, liquidus = times_on_voxels(codes, wall, codes > 0)
    flooded = flood(cutoff, codes == CODE["hub"], spacing_mm=SPACING_MM, fraction=grid.fraction)
    islands = find_islands(flooded, shrinkage_pct=5.27, cutoff_fs=0.7, liquidus_s=liquidus)
    return Part(grid.fraction, SPACING_MM, codes, ROLES), islands, feeding_paths(flooded, wall)


def test_each_spoke_of_a_cuts_off_one_pool_at_its_rim_end_and_b_hardly_any():
    part, islands, _ = fed(demo_a())
    large = [island for island in islands.cut_off if island.volume_mm3 > 5000.0]
    assert len(large) == demo_a().spokes == 5
    assert {part.name(island.choke_place) for island in large} == {"spoke"}
    volumes = [island.volume_mm3 for island in large]
    assert max(volumes) < 1.2 * min(volumes)
    angles = np.sort(
        [np.arctan2(*(np.array(i.last_place[1::-1]) - np.array(part.codes.shape[1::-1]) / 2)) for i in large]
    )
    np.testing.assert_allclose(np.diff(angles), np.radians(72.0), atol=0.15)
    _, other, _ = fed(demo_b())
    assert max((island.volume_mm3 for island in other.cut_off), default=0.0) < 0.1 * min(volumes)
    lack, lack_b = (sum(island.shrinkage_mm3 for island in i.cut_off) for i in (islands, other))
    assert lack_b < 0.05 * lack


def test_rim_freezes_before_the_spoke_closes_and_so_keeps_its_feed():
    part, _, paths = fed(demo_a())
    margin = paths.flood.on_grid(paths.margin)
    weight = part.fraction
    for role, least in (("inboard flange", 0.95), ("rim well", 0.95), ("spoke-hub junction", 0.99)):
        zone = part.codes == CODE[role]
        assert np.average(margin[zone] > 0.95, weights=weight[zone]) > least, role
    junction = part.codes == CODE["spoke-rim junction"]
    assert 0.1 < np.average(margin[junction] < 0.95, weights=weight[junction]) < 0.6


def test_zones_of_risk_of_a_are_five_pools_named_after_the_spoke():
    part, islands, paths = fed(demo_a())
    margin = paths.flood.on_grid(paths.margin)
    regions = risk_regions(margin, 0.95, part, above=False, evidence=Evidence(islands=islands), least_mm3=5000.0)
    assert len(regions) == 5
    for region in regions:
        assert region.cause.startswith("island cut off at") and region.cause.endswith("by the spoke")
        assert region.zone in {"spoke", "spoke-rim junction"} and region.worst < 0.8


def test_spokes_without_a_pocket_cut_off_far_less():
    pocketed, full = (fed(design)[1] for design in (demo_a(), replace(demo_a(), pocket_depth_mm=0.0)))
    volume, less = (sum(island.volume_mm3 for island in islands.cut_off) for islands in (pocketed, full))
    assert less < 0.35 * volume

"""Zones found from the shape alone, against the zones the generator knows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from castq.core.errors import InputError
from castq.geometry.mesh import Mesh
from castq.geometry.roles import CODE, ROLES
from castq.geometry.thickness import LocalSection
from castq.geometry.voxels import Grid, voxelise
from castq.geometry.wheel import WheelDesign, build_wheel, demo_a, demo_b, random_design
from castq.geometry.wheel_truth import role_at
from castq.geometry.zone_measure import measure_zones
from castq.geometry.zones import ZoneBox, ZoneMap, apply_overrides, find_zones

POINTS = 20_000
PLAIN = WheelDesign(pocket_depth_mm=0.0, valve_hole_mm=0.0)
UPSIDE_DOWN = np.diag([1.0, -1.0, -1.0])


def confusion(design: WheelDesign, grid: Grid, zones: ZoneMap, turn: np.ndarray, seed: int) -> np.ndarray:
    """Return how much metal of each true zone (row) was found in each zone (column), from random points."""
    rng = np.random.default_rng(seed)
    cells = np.argwhere(grid.fraction > 0.0)
    weight = grid.fraction[tuple(cells.T)].astype(float)
    cells = cells[rng.choice(len(cells), POINTS, p=weight / weight.sum())]
    points = grid.origin_mm + (cells + rng.random(cells.shape)) * grid.spacing_mm
    truth = role_at(design, points @ turn)
    table = np.zeros((len(ROLES) + 1, len(ROLES) + 1))
    np.add.at(table, (truth, zones.codes[tuple(cells.T)]), 1.0)
    return table[1:]


@pytest.mark.parametrize("chunk", range(5))
def test_fifty_random_wheels_agree_by_volume(chunk: int) -> None:
    rng = np.random.default_rng(100 + chunk)
    shares = []
    for number in range(10):
        design = random_design(rng)
        grid = voxelise(build_wheel(design), 3.0)
        zones = find_zones(grid)
        table = confusion(design, grid, zones, np.eye(3), seed=number)
        shares.append(np.trace(table[:, 1:]) / table.sum())
        by_role = np.diagonal(table[:, 1:]) / table.sum(axis=1)
        assert by_role.min() > 0.75, (design, by_role)
        assert len(zones.bolt_axes_mm) == design.bolts
        assert zones.outboard == 1
        assert zones.warnings == ()
    assert min(shares) >= 0.95
    assert np.mean(shares) >= 0.97


@pytest.mark.parametrize("design", [demo_a(), demo_b()], ids=["A", "B"])
def test_landmarks_of_the_demo_wheels(design: WheelDesign) -> None:
    zones = find_zones(voxelise(build_wheel(design), 2.0))
    assert zones.hub_radius_mm == pytest.approx(design.hub_radius_mm, abs=0.5)
    assert zones.counterbore_radius_mm == pytest.approx(design.counterbore_mm / 2.0, abs=0.3)
    assert zones.rim.high_foot_mm == pytest.approx(design.foot_height_mm, abs=1.0)
    assert zones.rim.low_foot_mm == pytest.approx(-design.foot_height_mm, abs=1.0)
    assert (zones.spokes.count_hub, zones.spokes.count_rim) == (5, 5)
    angle = np.sort(np.degrees(np.arctan2(*zones.bolt_axes_mm.T[::-1])) % 360.0)
    np.testing.assert_allclose(angle, [36.0, 108.0, 180.0, 252.0, 324.0], atol=0.5)
    np.testing.assert_allclose(np.hypot(*zones.bolt_axes_mm.T), 56.0, atol=0.3)


def test_wheel_upside_down_turned_and_moved_gives_the_same_zones() -> None:
    design = replace(PLAIN, spokes=7, spoke_width_hub_mm=40.0, valve_hole_mm=11.3)
    angle = np.radians(17.0)
    turn = UPSIDE_DOWN @ [[np.cos(angle), np.sin(angle), 0], [-np.sin(angle), np.cos(angle), 0], [0, 0, 1]]
    mesh = build_wheel(design)
    upright = voxelise(mesh, 3.0)
    turned = voxelise(Mesh(mesh.vertices @ turn.T, mesh.faces), 3.0)
    found = find_zones(turned)
    assert found.outboard == -1
    table = confusion(design, turned, found, turn, seed=1)
    assert np.trace(table[:, 1:]) / table.sum() >= 0.97
    for code in CODE.values():
        volumes = [
            float(g.fraction[z.codes == code].sum()) for g, z in ((upright, find_zones(upright)), (turned, found))
        ]
        assert volumes[0] == pytest.approx(volumes[1], rel=0.03)


def test_every_voxel_with_metal_has_a_zone_and_no_other() -> None:
    grid = voxelise(build_wheel(PLAIN), 4.0)
    codes = find_zones(grid).codes
    np.testing.assert_array_equal(codes > 0, grid.fraction > 0.0)
    assert set(np.unique(codes)) == {0, *CODE.values()}


def test_outboard_side_can_be_told() -> None:
    grid = voxelise(build_wheel(PLAIN), 4.0)
    told = find_zones(grid, outboard=-1)
    found = find_zones(grid)
    swapped = {CODE["inboard flange"]: CODE["outboard flange"], CODE["outboard flange"]: CODE["inboard flange"]}
    for code in CODE.values():
        np.testing.assert_array_equal(told.codes == swapped.get(code, code), found.codes == code)


def test_boxes_by_hand_win() -> None:
    grid = voxelise(build_wheel(PLAIN), 4.0)
    zones = find_zones(grid)
    boxes = [ZoneBox("spoke", (0.0, 300.0), (-200.0, -60.0)), ZoneBox("hub", (0.0, 300.0), (-200.0, -80.0))]
    codes = apply_overrides(zones, grid, boxes).codes
    z = grid.centres_mm[2]
    metal = grid.fraction > 0.0
    assert set(np.unique(codes[..., z < -80.0])) == {0, CODE["hub"]}
    assert set(np.unique(codes[..., (z > -80.0) & (z < -60.0)])) == {0, CODE["spoke"]}
    np.testing.assert_array_equal(codes[..., z > -60.0], zones.codes[..., z > -60.0])
    np.testing.assert_array_equal(codes > 0, metal)


@pytest.mark.parametrize(
    ("box", "word"),
    [
        (ZoneBox("spoke rim junction", (0.0, 300.0), (0.0, 9.0)), "did you mean spoke-rim junction"),
        (ZoneBox("hub", (400.0, 500.0), (0.0, 9.0)), "no metal"),
        (ZoneBox("hub", (90.0, 10.0), (0.0, 90.0)), "no metal"),
    ],
)
def test_bad_box_is_refused(box: ZoneBox, word: str) -> None:
    grid = voxelise(build_wheel(PLAIN), 6.0)
    with pytest.raises(InputError, match=word):
        apply_overrides(find_zones(grid), grid, [box])


def revolved(radius_mm: float, half_mm: float, bore_mm: float) -> Grid:
    """Return the voxels of a plain disc or ring."""
    side = np.arange(-radius_mm - 9.0, radius_mm + 9.0, 3.0) + 1.5
    r = np.hypot(side[:, None], side[None, :])
    z = np.arange(-half_mm - 9.0, half_mm + 9.0, 3.0) + 1.5
    metal = ((r < radius_mm) & (r > bore_mm))[:, :, None] & (np.abs(z) < half_mm)
    return Grid(metal.astype(np.float32), np.array([side[0] - 1.5, side[0] - 1.5, z[0] - 1.5]), 3.0)


@pytest.mark.parametrize("grid", [revolved(200.0, 60.0, 30.0), revolved(200.0, 60.0, 190.0)], ids=["disc", "ring"])
def test_part_without_windows_is_refused_in_one_sentence(grid: Grid) -> None:
    with pytest.raises(InputError, match=r"part\.stl: no windows") as caught:
        find_zones(grid, source="part.stl")
    assert "\n" not in str(caught.value)


def test_part_that_is_no_ring_is_refused() -> None:
    block = np.zeros((60, 60, 30), dtype=np.float32)
    block[5:20, 5:55, 5:25] = 1.0
    with pytest.raises(InputError, match="no closed ring"):
        find_zones(Grid(block, np.array([-90.0, -90.0, -45.0]), 3.0))


def test_measures_of_a_made_up_section_field() -> None:
    """Wall equals the distance from the axis over ten, so every measure is known from the radii of a zone."""
    grid = voxelise(build_wheel(PLAIN), 3.0)
    zones = find_zones(grid)
    x, y, _ = grid.centres_mm
    radius = np.broadcast_to(np.hypot(x[:, None], y[None, :])[:, :, None], grid.shape)
    wall = (radius / 10.0).astype(np.float32)
    measures = {m.role: m for m in measure_zones(zones, grid, LocalSection(2.0 * wall, wall, 1.0, 1, ()))}
    assert tuple(measures) == ROLES
    assert sum(m.volume_cm3 for m in measures.values()) == pytest.approx(grid.volume_mm3 / 1000.0, rel=1e-6)
    for measure in measures.values():
        assert measure.section_p90_mm == pytest.approx(2.0 * measure.wall_p90_mm, rel=1e-5)
    spoke = measures["spoke"]
    start = zones.hub_radius_mm + zones.spokes.at_hub_mm
    end = PLAIN.spoke_end_mm - zones.spokes.at_rim_mm
    assert spoke.wall_median_mm == pytest.approx(spoke.centroid_r_mm / 10.0, rel=0.03)
    assert spoke.wall_p90_mm == pytest.approx((start + 0.9 * (end - start)) / 10.0, rel=0.02)
    assert start / 10.0 < spoke.choke_mm < (start + 6.0) / 10.0 + 0.1
    hub, seat = measures["hub"], measures["bolt seat"]
    assert hub.distance_mm["bolt seat"] == pytest.approx(zones.counterbore_radius_mm + 8.0)
    assert seat.centroid_r_mm == pytest.approx(56.0, abs=2.0)
    junction = measures["spoke-rim junction"]
    apart = np.hypot(spoke.centroid_r_mm - junction.centroid_r_mm, spoke.centroid_z_mm - junction.centroid_z_mm)
    assert spoke.distance_mm["spoke-rim junction"] == pytest.approx(apart)
    assert junction.distance_mm["spoke"] == pytest.approx(apart)

"""Sectors of shapes that repeat by turning: two planes joined, against the whole shape and closed forms."""

from __future__ import annotations

from functools import cache
from typing import Any

import manifold3d as m3
import numpy as np
import pytest

from castq.geometry.axis import find_axis
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import Grid, voxelise
from castq.thermal.die_growth import Sector, grow_die, sector_of
from castq.thermal.solid import SolidTimes, freeze_solid
from castq.thermal.solid_grid import FULL_FACE, Cells, Links, whole_cells
from castq.thermal.solid_pairs import joined
from castq.thermal.solid_patches import surface_patches
from castq.thermal.solid_problem import Pace
from tests.thermal.solid_shapes import A356, CONTACT, DIE_C, GAP, H13, MELT_C, mesh_of

TOOL: dict[str, Any] = {
    "alloy": A356, "die": H13, "melt_temp_c": MELT_C, "die_temp_c": DIE_C, "contact_w_m2k": CONTACT, "gap_w_m2k": GAP,
    "die_wall_mm": 12.0,
}  # fmt: skip
QUICK = Pace(2.0, 0.05, 0.05)
EXACT = Pace(2.0, 0.05, 0.05, single=False)


def spoked(order: int, offset_mm: float) -> m3.Manifold:
    """Return a hub and a ring joined by straight spokes that miss the middle by an offset."""
    whole = m3.Manifold.cylinder(24.0, 18.0, 18.0, 96, center=True)
    whole += m3.Manifold.cylinder(22.0, 70.0, 70.0, 160, center=True) - m3.Manifold.cylinder(
        30.0, 56.0, 56.0, 160, True
    )
    for number in range(order):
        spoke = m3.Manifold.cube([62.0, 14.0, 18.0]).translate([0.0, offset_mm - 7.0, -9.0])
        whole += spoke.rotate([0.0, 0.0, 360.0 / order * number])
    return whole


@cache
def placed(order: int, offset_mm: float, spacing_mm: float) -> tuple[Mesh, Grid, Sector | None]:
    """Return a spoked part on its axis, its voxels, and the sector its measured symmetry gives."""
    mesh = mesh_of(spoked(order, offset_mm))
    axis = find_axis(mesh, direction=(0.0, 0.0, 1.0))
    mesh = mesh.moved(axis.rotation, axis.centre_mm)
    return mesh, voxelise(mesh, spacing_mm), sector_of(axis)


@cache
def frozen(order: int, offset_mm: float, spacing_mm: float, whole: bool, pace: Pace = QUICK) -> SolidTimes:
    mesh, grid, sector = placed(order, offset_mm, spacing_mm)
    return freeze_solid(grid, surface=mesh, sector=None if whole else sector, pace=pace, **TOOL)


@pytest.mark.parametrize(("order", "offset_mm", "turning"), [(4, 9.0, True), (5, 9.0, True), (5, 0.0, False)])
def test_measured_symmetry_chooses_the_sector(order: int, offset_mm: float, turning: bool) -> None:
    _, _, sector = placed(order, offset_mm, 4.0)
    assert sector is not None and sector.turning == turning
    assert sector.span_rad == pytest.approx((2.0 if turning else 1.0) * np.pi / order)


@pytest.mark.parametrize(("order", "offset_mm", "spacing_mm"), [(4, 9.0, 4.0), (5, 9.0, 4.0), (5, 9.0, 3.0),
                                                                (5, 0.0, 3.0)])  # fmt: skip
def test_a_sector_stands_for_the_whole(order: int, offset_mm: float, spacing_mm: float) -> None:
    _, grid, sector = placed(order, offset_mm, spacing_mm)
    part, whole = (frozen(order, offset_mm, spacing_mm, whole) for whole in (False, True))
    metal = grid.solid
    assert np.isfinite(part.solid_s[metal]).all()
    off = (part.local_solidification_s / whole.local_solidification_s - 1.0)[metal]
    assert abs(off.mean()) < 0.01
    assert np.abs(off).mean() < 0.02
    copies = order if sector is not None and sector.turning else 2 * order
    assert whole.cells["casting"] / part.cells["casting"] == pytest.approx(copies, rel=0.06)


def test_a_turning_sector_keeps_its_heat() -> None:
    assert abs(frozen(5, 9.0, 4.0, False, EXACT).heat_residual) < 1e-12
    assert abs(frozen(5, 9.0, 4.0, False).heat_residual) < 1e-6


def test_planes_that_are_not_joined_show() -> None:
    """Cut through the spokes, where heat flows across the planes, an insulated plane is wrong by percents."""
    mesh, grid, sector = placed(4, 9.0, 4.0)
    assert sector is not None
    through = Sector(sector.start_rad + 0.8, sector.span_rad, turning=True)
    whole = frozen(4, 9.0, 4.0, True).solid_s[grid.solid]
    off = []
    for cut in (through, Sector(through.start_rad, through.span_rad)):
        part = freeze_solid(grid, surface=mesh, sector=cut, pace=QUICK, **TOOL)
        off.append(float(np.abs(part.solid_s[grid.solid] / whole - 1.0).mean()))
    assert off[0] < 0.02
    assert off[1] > 2.0 * off[0]


@pytest.mark.parametrize("order", [4, 5])
def test_a_turning_sector_holds_its_share_of_volume_and_surface(order: int) -> None:
    mesh, grid, sector = placed(order, 9.0, 3.0)
    area = surface_patches(mesh, grid).area_mm2.sum() / order
    patches = surface_patches(mesh, grid, sector)
    x, y = patches.points_mm[:, :2].T
    assert sector is not None
    assert patches.area_mm2[sector.holds(x, y)].sum() == pytest.approx(area, rel=0.003)
    box = grow_die(grid, 12.0, sector)
    held = box.fraction[box.inside].sum(dtype=float) * grid.spacing_mm**3
    assert held == pytest.approx(mesh.volume_mm3 / order, rel=0.01)
    assert box.die.sum() == pytest.approx(grow_die(grid, 12.0).die.sum() / order, rel=0.03)


@pytest.mark.parametrize(("order", "start_rad"), [(4, 0.0), (4, 0.3), (5, 0.7), (3, 1.1), (2, 0.4)])
def test_joined_planes_carry_the_heat_of_a_turning_gradient(order: int, start_rad: float) -> None:
    """A temperature that rises with the angle drives log(outer / inner radius) through each plane of a tube."""
    span = 2.0 * np.pi / order
    sector = Sector(start_rad, span, turning=True)
    place = np.arange(-128.0, 128.0) + 0.5
    radius, angle = np.hypot(place[:, None], place), (np.arctan2(place, place[:, None]) - start_rad) % (2.0 * np.pi)
    tube = np.zeros((256, 256, 7), dtype=bool)
    tube[:, :, 2:5] = ((radius > 40.0) & (radius < 120.0) & sector.holds(place[:, None], place))[:, :, None]
    none = np.empty(0)
    links = Links(none.astype(int), none.astype(int), none, none, none, none.astype(int))
    body = whole_cells(tube)
    cells = Cells(body, body, links, np.empty(0, dtype=int), 1.0)
    pairs = joined(cells, sector, np.array([-128.0, -128.0, 0.0]), 1.0).die.pairs
    assert pairs is not None
    turn = np.repeat(angle.ravel(), 7)
    rise = turn[pairs.there] - turn[pairs.here]
    across = np.abs(rise) > 0.5 * span
    rise = np.where(across, span - np.abs(rise), 0.0)
    assert np.sum(pairs.weight / FULL_FACE * rise) == pytest.approx(3.0 * np.log(3.0), rel=0.015)
    assert np.all(pairs.weight > 0.0) and np.all(pairs.here != pairs.there)
    assert joined(cells, Sector(start_rad, np.pi / order), np.zeros(3), 1.0) is cells


def test_folding_and_distance_of_a_turning_sector() -> None:
    sector = Sector(0.3, 2.0 * np.pi / 5, turning=True)
    angle = np.linspace(-np.pi, np.pi, 401)
    x, y = 50.0 * np.cos(angle), 50.0 * np.sin(angle)
    inside = sector.folded(x, y)
    turn = (np.arctan2(inside[1], inside[0]) - 0.3) % (2.0 * np.pi)
    assert np.all(turn <= 2.0 * np.pi / 5 + 1e-9)
    np.testing.assert_allclose(sector.folded(*inside), inside, atol=1e-9)
    again = sector.folded(*(50.0 * f(angle + 2.0 * np.pi / 5) for f in (np.cos, np.sin)))
    np.testing.assert_allclose(again, inside, atol=1e-7)
    beyond = sector.beyond_mm(x, y)
    assert np.all((beyond == 0.0) == sector.holds(x, y) | (beyond < 1e-9))
    one = sector.beyond_mm(np.array([50.0 * np.cos(0.2)]), np.array([50.0 * np.sin(0.2)]))
    assert one[0] == pytest.approx(50.0 * np.sin(0.1))

"""Freezing of real shapes: turned and curved ones against one-dimensional solutions, symmetry, and bad input."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import manifold3d as m3
import numpy as np
import pytest
from numpy.typing import NDArray

from castq.core.errors import InputError
from castq.geometry.axis import find_axis
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import Grid, voxelise
from castq.thermal import solid, solid_build
from castq.thermal.die_growth import Sector, grow_die, outer_faces, sector_of
from castq.thermal.solid import SolidTimes, freeze_solid
from castq.thermal.solid_patches import surface_patches, true_fractions
from castq.thermal.solid_problem import Pace
from tests.thermal.solid_shapes import (
    A356,
    CONTACT,
    DIE_C,
    GAP,
    H13,
    MELT_C,
    WALL_MM,
    grid_of,
    mesh_of,
    radial,
    turned_plate,
    wheel_without_valve,
)

TOOL: dict[str, Any] = {
    "alloy": A356, "die": H13, "melt_temp_c": MELT_C, "die_temp_c": DIE_C, "contact_w_m2k": CONTACT, "gap_w_m2k": GAP,
    "die_wall_mm": WALL_MM,
}  # fmt: skip
FINE = Pace(0.3, 0.01, 0.01)
BALL = mesh_of(m3.Manifold.sphere(20.0, 192))
SMALL = mesh_of(m3.Manifold.cube([24.0, 20.0, 16.0], True))


def frozen(mesh: Mesh, grid: Grid, **over: Any) -> SolidTimes:
    return freeze_solid(grid, surface=mesh, **{**TOOL, **over})


def errors(times: SolidTimes, grid: Grid, depth: NDArray[np.float64], body: tuple[str, float]) -> NDArray[np.float64]:
    """Return the errors of the local solidification time in the voxels at least half filled that have a depth [-]."""
    place, exact, _ = radial(*body)
    taken = grid.solid & np.isfinite(depth)
    return times.local_solidification_s[taken] / np.interp(depth[taken], place, exact) - 1.0


def windowed(monkeypatch: pytest.MonkeyPatch, grid: Grid, along: tuple[float, float], long_mm: float) -> None:
    """Solve only the middle of a long body: insulated at `long_mm` along a direction, and at 4 mm along z."""
    grow = solid_build.grow_die

    def grown(*arguments: Any) -> Any:
        box = grow(*arguments)
        x, y, z = (grid.origin_mm[a] + grid.spacing_mm * (np.arange(box.die.shape[a]) + box.first[a] + 0.5)
                   for a in range(3))  # fmt: skip
        keep = np.abs(x[:, None, None] * along[0] + y[:, None] * along[1]) < long_mm
        keep = keep & (np.abs(z) < 4.0)
        return replace(box, inside=box.inside & keep, die=box.die & keep)

    monkeypatch.setattr(solid_build, "grow_die", grown)


@pytest.mark.parametrize("shift", [0.0, 0.5])
def test_sphere_freezes_as_the_radial_solution_says(shift: float) -> None:
    grid = grid_of(BALL, 2.0, shift)
    x, y, z = np.meshgrid(*grid.centres_mm, indexing="ij")
    times = frozen(BALL, grid, pace=FINE)
    off = errors(times, grid, np.sqrt(x**2 + y**2 + z**2), ("sphere", 20.0))
    assert abs(off.mean()) < 0.01
    assert np.percentile(np.abs(off), 95) < 0.02
    assert times.cells["surface_share"] > 0.999 and times.cells["volume_share"] > 0.9999


def test_cylinder_freezes_as_the_radial_solution_says(monkeypatch: pytest.MonkeyPatch) -> None:
    mesh = mesh_of(m3.Manifold.cylinder(64.0, 15.0, 15.0, 192, center=True))
    grid = grid_of(mesh, 2.0, 0.0)
    windowed(monkeypatch, grid, (0.0, 0.0), 1.0)
    x, y, z = np.meshgrid(*grid.centres_mm, indexing="ij")
    off = errors(
        frozen(mesh, grid, pace=FINE), grid, np.where(np.abs(z) < 4.0, np.hypot(x, y), np.nan), ("cylinder", 15.0)
    )
    assert abs(off.mean()) < 0.01
    assert np.percentile(np.abs(off), 95) < 0.02


@pytest.mark.parametrize(("wall_mm", "degrees", "shift", "limit"), [
    (12.0, 0.0, 0.0, 0.01), (12.0, 0.0, 0.8, 0.01), (12.0, 20.0, 0.5, 0.01), (12.0, 45.0, 0.8, 0.03),
    (9.0, 0.0, 0.5, 0.03), (9.0, 30.0, 0.25, 0.03), (9.0, 45.0, 0.5, 0.03),
])  # fmt: skip
def test_turned_plates_freeze_as_the_plane_solution_says(
    monkeypatch: pytest.MonkeyPatch, wall_mm: float, degrees: float, shift: float, limit: float
) -> None:
    mesh = turned_plate(wall_mm, degrees)
    grid = grid_of(mesh, 2.0, shift)
    grid = replace(grid, origin_mm=grid.origin_mm - [0.0, 0.0, 0.6 * shift])
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    windowed(monkeypatch, grid, (c, s), 50.0)
    x, y, z = np.meshgrid(*grid.centres_mm, indexing="ij")
    depth = np.where((np.abs(z) < 4.0) & (np.abs(x * c + y * s) < 25.0), np.abs(y * c - x * s), np.nan)
    off = errors(frozen(mesh, grid, pace=FINE), grid, depth, ("plate", 0.5 * wall_mm))
    assert abs(off.mean()) < limit
    assert np.percentile(np.abs(off), 95) < 0.03


def test_faces_of_voxels_would_freeze_the_ball_far_too_fast() -> None:
    """Negative control: the solver tells 1.5 times the surface from the true one, so the tests above can fail."""
    grid = grid_of(BALL, 2.0, 0.0)
    right = frozen(BALL, grid)
    fast = frozen(BALL, grid, contact_w_m2k=1.5 * CONTACT, gap_w_m2k=1.5 * GAP)
    assert np.nanmean(fast.local_solidification_s / right.local_solidification_s) < 0.8


def test_surface_and_volume_are_those_of_the_mesh() -> None:
    mesh = turned_plate(9.0, 45.0)
    grid = grid_of(mesh, 2.0, 0.5)
    patches = surface_patches(mesh, grid)
    assert patches.area_mm2.sum() == pytest.approx(mesh.area_mm2, rel=1e-9)
    exact = true_fractions(mesh, grid, patches)
    assert exact.volume_mm3 == pytest.approx(mesh.volume_mm3, rel=0.003)
    np.testing.assert_allclose(patches.area_mm2 @ patches.normals, 0.0, atol=1e-6 * mesh.area_mm2)


def test_heat_is_kept_in_double_and_in_single_precision() -> None:
    grid = voxelise(SMALL, 2.0)
    double, single = (frozen(SMALL, grid, pace=Pace(single=kind)) for kind in (False, True))
    assert abs(double.heat_residual) < 1e-12
    assert abs(single.heat_residual) < 1e-6
    off = single.local_solidification_s / double.local_solidification_s - 1.0
    assert np.nanmax(np.abs(off)) < 1e-3 and np.nanmean(np.abs(off)) < 1e-4


def test_long_steps_agree_with_the_explicit_reference() -> None:
    grid = voxelise(BALL, 2.0)
    plain = frozen(BALL, grid, pace=Pace(explicit=True, single=False))
    quick = frozen(BALL, grid)
    off = np.abs(quick.local_solidification_s / plain.local_solidification_s - 1.0)[grid.solid]
    assert off.mean() < 0.003
    assert np.percentile(off, 95) < 0.007
    assert quick.updates < 0.3 * plain.updates


def test_no_place_becomes_warmer_than_all_around_it() -> None:
    """A skin that leaves the die warms again, but never beyond the metal behind it."""
    grid = voxelise(BALL, 2.0)
    assert frozen(BALL, grid).reheat_k < 0.1
    assert frozen(BALL, grid, gap_w_m2k=CONTACT).reheat_k < 0.1
    assert frozen(BALL, grid, gap_w_m2k=CONTACT, pace=Pace(explicit=True)).reheat_k == 0.0


def test_events_come_in_order_and_the_middle_freezes_last() -> None:
    grid = voxelise(SMALL, 2.0)
    times = frozen(SMALL, grid)
    metal = grid.fraction > 0.0
    rows = np.stack([times.liquidus_s, times.coherency_s, times.cutoff_s, times.solid_s])
    assert np.isfinite(rows[:, metal]).all() and np.isnan(rows[:, ~metal]).all()
    assert np.all(np.diff(rows[:, metal], axis=0) >= 0.0)
    last = np.unravel_index(np.nanargmax(times.solid_s), grid.shape)
    np.testing.assert_allclose([axis[i] for axis, i in zip(grid.centres_mm, last, strict=True)], 0.0, atol=2.1)
    assert np.all(times.gradient_k_mm[metal] >= 0.0) and np.all(times.cooling_rate_k_s[metal] > 0.0)
    touching = np.isfinite(times.die_peak_c)
    assert touching.sum() > 100
    assert np.all((times.die_peak_c[touching] > DIE_C) & (times.die_peak_c[touching] < A356.liquidus_c))
    assert np.all(times.die_last_c[touching] <= times.die_peak_c[touching])


@pytest.mark.parametrize(("better", "faster"), [
    ({"die_temp_c": 300.0}, True), ({"gap_w_m2k": 700.0}, True), ({"melt_temp_c": 730.0}, False),
    ({"latent_heat_factor": 1.1}, False),
])  # fmt: skip
def test_each_input_moves_the_end_of_freezing_the_right_way(better: dict[str, float], faster: bool) -> None:
    grid = voxelise(SMALL, 4.0)
    change = np.nanmean(frozen(SMALL, grid, **better).solid_s) - np.nanmean(frozen(SMALL, grid).solid_s)
    assert abs(change) > 0.1
    assert (change < 0.0) == faster


def test_places_of_the_casting_carry_their_own_tool() -> None:
    grid = voxelise(SMALL, 2.0)
    gap = np.where(grid.centres_mm[0][:, None, None] > 0.0, 900.0, 300.0) + np.zeros(grid.shape)
    times = frozen(SMALL, grid, gap_w_m2k=gap, die_temp_c=np.where(gap > 500.0, 300.0, 400.0))
    middle = grid.shape[0] // 2
    assert np.nanmean(times.solid_s[middle:]) < np.nanmean(times.solid_s[:middle]) - 1.0
    assert np.nanmean(times.die_last_c[middle:]) < np.nanmean(times.die_last_c[:middle])


def test_a_mirror_sector_stands_for_the_whole_wheel() -> None:
    mesh = wheel_without_valve()
    axis = find_axis(mesh)
    mesh = mesh.moved(axis.rotation, axis.centre_mm)
    grid = voxelise(mesh, 4.0)
    sector = sector_of(axis)
    assert sector is not None and sector.span_rad == pytest.approx(np.pi / 5)
    part, whole = (frozen(mesh, grid, sector=s, die_wall_mm=10.0, pace=Pace(2.0, 0.05, 0.05)) for s in (sector, None))
    metal = grid.solid
    assert np.isfinite(part.solid_s[metal]).all()
    off = (part.local_solidification_s / whole.local_solidification_s - 1.0)[metal]
    assert abs(off.mean()) < 0.01
    assert np.abs(off).mean() < 0.02
    assert 9.0 < whole.cells["casting"] / part.cells["casting"] < 11.0


def test_a_lopsided_part_has_no_sector() -> None:
    ends = m3.Manifold.cube([60.0, 8.0, 10.0], True) + m3.Manifold.cube([10.0, 30.0, 6.0]).translate([20.0, 2.0, 1.0])
    assert sector_of(find_axis(mesh_of(ends), direction=(0.0, 0.0, 1.0))) is None


def test_sector_folds_all_copies_onto_one() -> None:
    sector = Sector(0.3, np.pi / 5)
    angle = np.linspace(-np.pi, np.pi, 400)
    x, y = sector.folded(50.0 * np.cos(angle), 50.0 * np.sin(angle))
    found = np.arctan2(y, x)
    assert np.all((found >= 0.3 - 1e-9) & (found <= 0.3 + np.pi / 5 + 1e-9))
    np.testing.assert_allclose(sector.folded(x, y), (x, y), atol=1e-9)


def test_die_has_the_stated_wall_and_a_true_outer_surface() -> None:
    grid = voxelise(BALL, 2.0)
    box = grow_die(grid, 20.0)
    volume = 4.0 / 3.0 * np.pi * (40.0**3 - 20.0**3)
    assert box.die.sum() * 8.0 == pytest.approx(volume, rel=0.03)
    assert outer_faces(box)[1].sum() * 4.0 == pytest.approx(4.0 * np.pi * 40.0**2, rel=0.05)


@pytest.mark.parametrize(("bad", "words"), [
    ({"melt_temp_c": 600.0}, "melt_temp_c: 600 is out of range.*liquidus"),
    ({"die_temp_c": 570.0}, "die_temp_c: 570 is out of range.*freezes at 557.8"),
    ({"outer_temp_c": 600.0}, "outer_temp_c"),
    ({"gap_w_m2k": 0.0}, "gap_w_m2k: 0 is out of range; expected 1 to"),
    ({"contact_w_m2k": 1e9}, "contact_w_m2k"),
    ({"contact_w_m2k": float("nan")}, "contact_w_m2k"),
    ({"die_wall_mm": -5.0}, "die_wall_mm"),
    ({"gradient_fs": 0.2}, "gradient_fs"),
    ({"die_temp_c": [350.0, 360.0]}, "die_temp_c: an array of shape"),
    ({"memory_bytes": 1e6}, "need .* GB; expected at most .* GB.*use voxels of"),
])  # fmt: skip
def test_impossible_castings_are_refused_in_words(bad: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        frozen(SMALL, voxelise(SMALL, 4.0), **bad)


def test_walls_thinner_than_the_voxels_are_refused() -> None:
    sheet = mesh_of(m3.Manifold.cube([40.0, 1.2, 40.0], True))
    with pytest.raises(InputError, match=r"no voxel is half filled|hold only"):
        frozen(sheet, grid_of(sheet, 4.0, 0.3))


def test_a_casting_that_stays_liquid_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(solid, "MOST_STEPS", 40)
    with pytest.raises(InputError, match="not yet solid after"):
        frozen(SMALL, voxelise(SMALL, 4.0))

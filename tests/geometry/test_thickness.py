"""Section and equivalent wall against closed forms: plates, balls, bars, junctions, at any angle and voxel size."""

import manifold3d as m3
import numpy as np
import pytest

from castq.core.errors import InputError
from castq.geometry.mesh import Mesh
from castq.geometry.thickness import local_section
from castq.geometry.voxels import voxelise
from castq.geometry.wheel import build_wheel, demo_a
from tests.geometry.shapes import box, inverted, joined, mesh_of, near

ANGLES = [0.0, 20.0, 45.0]


def measured(solid, spacing_mm=2.0):
    mesh = mesh_of(solid)
    grid = voxelise(mesh, spacing_mm)
    return grid, local_section(mesh, grid)


def turn(angle):
    return angle, 0.7 * angle, 0.3 * angle


@pytest.mark.parametrize("angle", ANGLES)
@pytest.mark.parametrize("thickness", [6.0, 9.0, 12.0, 20.0, 40.0])
def test_plate_has_its_thickness_as_section_and_as_wall(thickness, angle):
    side = 100.0 + 3.0 * thickness
    grid, result = measured(box(side, side, thickness, turn=turn(angle)))
    middle = near(grid, 0.5 * side - 1.6 * thickness)
    np.testing.assert_allclose(result.section_mm[middle], thickness, rtol=0.02)
    walls = np.quantile(result.wall_mm[middle], [0.02, 0.5, 0.98])
    np.testing.assert_allclose(walls, thickness, rtol=0.03)


@pytest.mark.parametrize("spacing_mm", [1.0, 2.0, 3.0])
def test_section_and_wall_do_not_depend_on_the_voxel_size(spacing_mm):
    grid, result = measured(box(90, 90, 8, turn=(20, 10, 0)), spacing_mm)
    middle = near(grid, 25.0)
    np.testing.assert_allclose(result.section_mm[middle], 8.0, rtol=0.02)
    assert np.median(result.wall_mm[middle]) == pytest.approx(8.0, rel=0.02)


@pytest.mark.parametrize("diameter", [20.0, 40.0])
def test_ball_has_its_diameter_and_the_wall_of_a_third_of_it(diameter):
    grid, result = measured(m3.Manifold.sphere(0.5 * diameter, 128))
    metal = grid.fraction > 0.0
    np.testing.assert_allclose(np.quantile(result.section_mm[metal], [0.01, 0.5, 1.0]), diameter, rtol=0.02)
    # Modulus of a ball is D/6, of a plate t/2.
    np.testing.assert_allclose(np.quantile(result.wall_mm[metal], [0.01, 0.5, 1.0]), diameter / 3.0, rtol=0.03)


@pytest.mark.parametrize("angle", ANGLES)
@pytest.mark.parametrize("square", [False, True])
def test_long_bar_has_the_wall_of_half_its_width(angle, square):
    width = 24.0
    bar = box(width, width, 160) if square else m3.Manifold.cylinder(160, width / 2, width / 2, 96, True)
    grid, result = measured(bar.rotate(turn(angle)))
    middle = near(grid, 40.0)
    assert np.median(result.section_mm[middle]) == pytest.approx(width, rel=0.01)
    # Modulus of a round bar and of a square bar is D/4.
    assert np.median(result.wall_mm[middle]) == pytest.approx(width / 2.0, rel=0.03)


@pytest.mark.parametrize("angle", ANGLES)
@pytest.mark.parametrize("thickness", [8.0, 12.0, 20.0])
def test_ball_in_a_junction_of_equal_walls_is_a_quarter_larger(thickness, angle):
    plate = box(150, 100, thickness) + box(thickness, 100, 80).translate((0, 0, 40))
    grid, result = measured(plate.rotate(turn(angle)))
    junction = near(grid, 0.3 * thickness)
    # Ball against the back and the two inner edges: r = 5/8 t.
    assert np.median(result.section_mm[junction]) == pytest.approx(1.25 * thickness, rel=0.03)
    assert 1.05 * thickness < np.median(result.wall_mm[junction]) < 1.25 * thickness


@pytest.mark.parametrize("angle", ANGLES)
def test_corners_are_no_thin_walls(angle):
    grid, result = measured(box(90, 80, 30, turn=turn(angle)))
    assert result.thinnest_mm > 20.0
    corner_wedges = np.count_nonzero(result.section_mm[grid.fraction > 0.0] < 15.0)
    assert corner_wedges < 0.005 * np.count_nonzero(grid.fraction)


def test_thin_wall_is_found_beside_a_thick_one_and_noted():
    grid, result = measured(box(60, 90, 24) + box(90, 90, 2.6).translate((70, 0, 0)))
    thin = near(grid, 20.0, centre_mm=(80.0, 0.0, 0.0))
    np.testing.assert_allclose(np.median(result.section_mm[thin]), 2.6, rtol=0.02)
    thick = near(grid, 6.0)
    np.testing.assert_allclose(result.section_mm[thick], 24.0, rtol=0.02)
    assert result.thinnest_mm <= 2.6 * 1.02
    assert "is below resolution: " in result.notes[0]


def test_thick_walls_are_not_noted():
    assert measured(box(70, 60, 20))[1].notes == ()


def test_overlapping_bodies_are_measured_as_one():
    first = mesh_of(box(60, 60, 20))
    both = joined(first, Mesh(first.vertices + np.array([40.0, 0.0, 0.0]), first.faces))
    grid = voxelise(both)
    result = local_section(both, grid)
    np.testing.assert_allclose(result.section_mm[near(grid, 12.0, centre_mm=(20.0, 0.0, 0.0))], 20.0, rtol=0.02)


def test_surface_turned_inside_out_is_measured_alike():
    mesh = mesh_of(box(60, 60, 8))
    grid = voxelise(mesh)
    outside_in = local_section(inverted(mesh), grid)
    np.testing.assert_allclose(outside_in.section_mm[near(grid, 22.0)], 8.0, rtol=0.02)
    assert outside_in.section_mm.sum() == pytest.approx(local_section(mesh, grid).section_mm.sum(), rel=0.01)


def test_every_voxel_with_metal_has_a_section_and_none_outside():
    wheel = build_wheel(demo_a())
    grid = voxelise(wheel, 3.0)
    result = local_section(wheel, grid)
    metal = grid.fraction > 0.0
    assert np.all(result.section_mm[metal] > 0.0)
    assert np.all(result.wall_mm[metal] > 0.0)
    assert np.all(result.wall_mm <= result.section_mm)
    assert not result.section_mm[~metal].any()
    assert not result.wall_mm[~metal].any()
    assert result.section_mm.dtype == result.wall_mm.dtype == np.float32
    thinnest = min(demo_a().rim_thickness_mm, demo_a().flange_width_mm)
    assert result.thinnest_mm == pytest.approx(thinnest, rel=0.08)


def test_the_same_part_gives_the_same_section_to_the_last_bit():
    first, second = (measured(box(50, 40, 10, turn=(20, 14, 6)))[1] for _ in range(2))
    np.testing.assert_array_equal(first.section_mm, second.section_mm)
    np.testing.assert_array_equal(first.wall_mm, second.wall_mm)


def test_a_single_sheet_has_no_wall():
    sheet = Mesh(np.array([[0.0, 0.0, 0.0], [50.0, 0.0, 0.0], [0.0, 50.0, 0.0]]), np.array([[0, 1, 2]]))
    grid = voxelise(mesh_of(box(60, 60, 10)))
    with pytest.raises(InputError, match="no wall could be measured"):
        local_section(sheet, grid)

"""Filled shares against closed-form volumes, and meshes that overlap, are hollow, inside out or leak."""

import manifold3d as m3
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from castq.core.errors import InputError
from castq.geometry import voxels
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import LEAK_WARN_SHARE, voxelise
from castq.geometry.wheel import build_wheel, demo_a
from tests.geometry.shapes import box, inverted, joined, mesh_of

BOX_MM3 = 80.0 * 40.0 * 20.0


def without(mesh, faces):
    return Mesh(mesh.vertices, np.delete(mesh.faces, faces, axis=0))


@pytest.mark.parametrize("spacing_mm", [1.0, 2.0, 3.0])
@pytest.mark.parametrize("angle", [0.0, 20.0, 45.0])
def test_plate_off_the_grid_keeps_its_volume_at_any_angle(spacing_mm, angle):
    grid = voxelise(mesh_of(box(81.3, 41.1, 9.0, turn=(angle, 0.7 * angle, 0.3 * angle))), spacing_mm)
    assert grid.volume_mm3 == pytest.approx(81.3 * 41.1 * 9.0, rel=1e-3)
    assert grid.leak_share == 0.0


@pytest.mark.parametrize("angle", [0.0, 20.0, 45.0])
def test_cylinder_keeps_its_volume(angle):
    sides, radius, height = 96, 25.0, 77.0
    bar = m3.Manifold.cylinder(height, radius, radius, sides, True).rotate((angle, 0.7 * angle, 0.0))
    area = 0.5 * sides * radius**2 * np.sin(2.0 * np.pi / sides)
    assert voxelise(mesh_of(bar)).volume_mm3 == pytest.approx(area * height, rel=3e-3)


def test_sphere_keeps_its_volume():
    grid = voxelise(mesh_of(m3.Manifold.sphere(20.0, 256)))
    assert grid.volume_mm3 == pytest.approx(4.0 / 3.0 * np.pi * 20.0**3, rel=2e-3)


def test_demo_wheel_at_two_millimetres_is_right_within_a_thousandth():
    wheel = build_wheel(demo_a())
    grid = voxelise(wheel)
    assert grid.volume_mm3 == pytest.approx(wheel.volume_mm3, rel=1e-3)
    assert grid.leak_share == 0.0


@settings(max_examples=15, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10_000), shift=st.floats(-50.0, 50.0))
def test_volume_does_not_depend_on_how_the_part_lies(seed, shift):
    turn = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    part = mesh_of(box(60, 60, 10) + box(10, 60, 50).translate((0, 0, 25)))
    volume = 60.0 * 60.0 * 10.0 + 10.0 * 60.0 * 45.0
    assert voxelise(part.moved(turn, np.full(3, shift))).volume_mm3 == pytest.approx(volume, rel=2e-3)


def test_each_voxel_of_an_aligned_box_holds_its_exact_share():
    grid = voxelise(mesh_of(box(7.0, 7.0, 7.0)), spacing_mm=2.0, margin=1)
    assert grid.shape == (6, 6, 6)
    along_z = grid.fraction[3, 3]
    np.testing.assert_allclose(along_z, [0.0, 0.75, 1.0, 1.0, 0.75, 0.0], atol=1e-6)
    np.testing.assert_allclose(grid.fraction[:, 3, 3], [0.0, 0.75, 1.0, 1.0, 0.75, 0.0], atol=0.12)


def test_overlapping_boxes_count_once():
    one = mesh_of(m3.Manifold.cube((80, 40, 20)))
    both = joined(one, Mesh(one.vertices + np.array([30.0, 10.0, 5.0]), one.faces))
    assert voxelise(both).volume_mm3 == pytest.approx(105_500.0, rel=1e-3)


def test_doubled_facets_count_once():
    one = mesh_of(box(80, 40, 20))
    assert voxelise(joined(one, one)).volume_mm3 == pytest.approx(BOX_MM3, rel=1e-3)


def test_cavity_stays_empty():
    outside, hole = mesh_of(box(60, 60, 60)), mesh_of(box(30, 30, 30, turn=(20, 30, 40)))
    grid = voxelise(joined(outside, inverted(hole)))
    assert grid.volume_mm3 == pytest.approx(60.0**3 - 30.0**3, rel=1e-3)
    assert not grid.solid[tuple(grid.index([0.0, 0.0, 0.0]))]


def test_body_turned_inside_out_is_still_solid():
    grid = voxelise(inverted(mesh_of(box(80, 40, 20))))
    assert grid.volume_mm3 == pytest.approx(BOX_MM3, rel=1e-3)
    assert grid.leak_share == 0.0


def test_small_hole_is_reported_and_bridged():
    part = mesh_of(box(80, 40, 20, turn=(10, 20, 30)).refine(12))
    middle = part.triangles.mean(axis=1)
    hole = np.argsort(np.linalg.norm(middle - middle[700], axis=1))[:6]
    grid = voxelise(without(part, hole))
    assert LEAK_WARN_SHARE < grid.leak_share < 0.05
    assert grid.volume_mm3 == pytest.approx(BOX_MM3, rel=2e-3)
    whole = voxelise(part)
    assert np.abs(grid.fraction - whole.fraction).sum() < 2e-3 * whole.fraction.sum()


def test_open_box_is_refused_with_the_share_that_leaks():
    part = mesh_of(box(80, 40, 20))
    with pytest.raises(InputError, match=r"bracket.stl: .*% of the scan lines through the part do not close"):
        voxelise(without(part, [int(np.argmax(part.face_vectors[:, 2]))]), source="bracket.stl")


def test_mixed_winding_is_refused():
    part = mesh_of(box(80, 40, 20).refine(4))
    faces = part.faces.copy()
    faces[::5] = faces[::5, ::-1]
    with pytest.raises(InputError, match="unify the normals"):
        voxelise(Mesh(part.vertices, faces))


@pytest.mark.parametrize(
    ("mesh", "spacing_mm", "message"),
    [
        (mesh_of(box(300, 200, 100)), 0.2, r"would make a grid of 3\d\d\d MB.*use voxels of 0.5 mm or larger"),
        (mesh_of(box(8, 4, 2)), 0.0, "above 0 mm"),
        (mesh_of(box(8, 4, 2)), float("nan"), "above 0 mm"),
        (Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int64)), 2.0, "no facets"),
        (Mesh(np.full((3, 3), np.nan), np.array([[0, 1, 2]])), 2.0, "not finite"),
    ],
)
def test_what_cannot_be_put_on_a_grid_is_refused(mesh, spacing_mm, message):
    with pytest.raises(InputError, match=message):
        voxelise(mesh, spacing_mm)


def test_the_voxel_size_named_in_the_refusal_fits(monkeypatch):
    monkeypatch.setattr(voxels, "MAX_GRID_BYTES", 1_000_000)
    part = mesh_of(box(60, 50, 20))
    with pytest.raises(InputError, match=r"grid of 2 MB; expected at most 1 MB; use voxels of 0.7 mm or larger"):
        voxelise(part, 0.5)
    assert voxelise(part, 0.7).fraction.nbytes <= 1_000_000


def test_margin_is_empty_and_index_finds_the_voxel_of_its_centre():
    grid = voxelise(mesh_of(box(31, 17, 11)), margin=3)
    inner = grid.fraction[3:-3, 3:-3, 3:-3]
    assert np.count_nonzero(grid.fraction) == np.count_nonzero(inner) == 16 * 9 * 6
    x, y, z = grid.centres_mm
    assert grid.index([[x[4], y[5], z[6]], [1e6, -1e6, 0.0]]).tolist()[0] == [4, 5, 6]
    assert grid.index([1e6, -1e6, z[0]]).tolist() == [grid.shape[0] - 1, 0, 0]

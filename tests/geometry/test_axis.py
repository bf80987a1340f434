"""Axis, rotational order and mirror plane of wheels that lie anywhere, and what does not look like a wheel."""

import math

import manifold3d as m3
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from castq.core.errors import InputError
from castq.geometry.axis import find_axis, wheel_likeness
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import voxelise
from castq.geometry.wheel import build_wheel, demo_a, demo_b, random_design
from tests.geometry.shapes import box, joined, mesh_of, plain_wheel


def laid(mesh, seed):
    """Return the mesh turned and moved at random, with the turn and the move."""
    rng = np.random.default_rng(seed)
    turn, move = Rotation.random(rng=rng).as_matrix(), rng.uniform(-300.0, 300.0, 3)
    return Mesh(mesh.vertices @ turn.T + move, mesh.faces), turn, move


@pytest.mark.parametrize("spokes", range(5, 21))
def test_spokes_are_counted_and_bolts_set_the_order_of_the_whole(spokes):
    axis = find_axis(plain_wheel(spokes, bolts=5))
    assert (axis.spoke_order, axis.order, axis.mirror) == (spokes, math.gcd(spokes, 5), True)
    assert axis.mismatch["order"] < 0.002
    assert axis.mismatch["mirror"] < 0.002 + 0.3 * axis.mismatch["spoke_order"]
    if spokes % 5 and spokes != 6:
        # Five holes of 16 mm, 50 mm deep: turned by a pitch they miss themselves (but for 6), so all of them differ.
        share = 5 * math.pi * 8.0**2 * 50.0 / plain_wheel(spokes).volume_mm3
        assert axis.mismatch["spoke_order"] == pytest.approx(share, rel=0.2)
        assert f"{spokes}-fold spoke pattern, broken by 1." in axis.warnings[0]


@pytest.mark.parametrize("gap_deg", [8.0, 12.0, 15.0])
def test_five_pairs_of_spokes_are_five_fold(gap_deg):
    axis = find_axis(plain_wheel(5, twin_deg=gap_deg))
    assert (axis.spoke_order, axis.order, axis.mirror) == (5, 5, True)


def test_leaning_spokes_have_no_mirror_plane():
    axis = find_axis(plain_wheel(6, bolts=6, lean_deg=20.0))
    assert (axis.spoke_order, axis.order, axis.mirror) == (6, 6, False)
    assert axis.mismatch["mirror"] > 0.02


def test_a_valve_hole_does_not_break_the_order():
    axis = find_axis(plain_wheel(10, bolts=5, valve=True))
    assert (axis.spoke_order, axis.order) == (10, 5)
    np.testing.assert_array_equal(axis.direction, [0.0, 0.0, 1.0])
    np.testing.assert_array_equal(axis.centre_mm, [0.0, 0.0, 100.0])
    assert axis.warnings[0].startswith("10-fold spoke pattern, broken by")


@pytest.mark.parametrize("seed", range(8))
def test_axis_is_found_wherever_the_wheel_lies(seed):
    wheel, turn, move = laid(build_wheel(demo_a()), seed)
    axis = find_axis(wheel)
    # The valve hole tilts the axis of inertia by a ten-thousandth.
    assert abs(axis.direction @ turn[:, 2]) == pytest.approx(1.0, abs=1e-7)
    np.testing.assert_allclose(np.cross(axis.direction, axis.centre_mm - move), 0.0, atol=0.05)
    np.testing.assert_allclose(axis.rotation @ axis.rotation.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(axis.rotation) == pytest.approx(1.0)
    assert (axis.order, axis.spoke_order) == (5, 5)
    assert any("not along z; the part was turned" in note for note in axis.warnings)
    moved = wheel.moved(axis.rotation, axis.centre_mm)
    low, high = moved.bounds
    np.testing.assert_allclose(low[2], -high[2], atol=1e-9)
    np.testing.assert_allclose([low[0], low[1]], [-high[0], -high[1]], atol=0.2)


@pytest.mark.parametrize("design", [demo_a, demo_b])
def test_demo_wheels_stay_where_they_are_drawn(design):
    axis = find_axis(build_wheel(design()))
    np.testing.assert_array_equal(axis.rotation, np.eye(3))
    np.testing.assert_allclose(axis.centre_mm, 0.0, atol=1e-9)
    assert (axis.order, axis.spoke_order, axis.mirror, axis.warnings) == (5, 5, True, ())


@pytest.mark.parametrize("seed", range(6))
def test_random_wheels_have_the_order_they_were_designed_with(seed):
    design = random_design(np.random.default_rng(seed))
    axis = find_axis(build_wheel(design))
    assert axis.spoke_order == design.spokes
    assert axis.order == math.gcd(design.spokes, design.bolts)


def test_the_mirror_plane_goes_through_a_spoke():
    turned = 0.3
    wheel = plain_wheel(7, bolts=7)
    spin = Rotation.from_euler("z", turned).as_matrix()
    axis = find_axis(Mesh(wheel.vertices @ spin.T, wheel.faces))
    pitch = 2.0 * np.pi / 7
    assert (axis.phase_rad - turned + pitch / 2) % pitch - pitch / 2 == pytest.approx(0.0, abs=2e-3)
    assert (axis.mirror_rad - turned + pitch / 4) % (pitch / 2) - pitch / 4 == pytest.approx(0.0, abs=2e-3)


def test_half_a_wheel_is_doubted_and_takes_a_given_axis():
    whole = m3.Manifold.cylinder(60, 200, 200, 96) - m3.Manifold.cylinder(60, 150, 150, 96)
    half = mesh_of(whole ^ m3.Manifold.cube((400, 800, 200)).translate((0, -400, -50)))
    assert any("give the axis direction" in note for note in find_axis(half).warnings)
    given = find_axis(half, direction=(0, 0, -2))
    np.testing.assert_array_equal(given.direction, [0.0, 0.0, 1.0])
    assert not any("give the axis direction" in note for note in given.warnings)


def test_a_turned_ring_has_no_pattern():
    ring = mesh_of(m3.Manifold.cylinder(100, 200, 200, 360) - m3.Manifold.cylinder(100, 180, 180, 360))
    axis = find_axis(ring)
    assert (axis.order, axis.spoke_order, axis.mirror) == (1, 1, True)
    assert "no spoke pattern" in axis.warnings[0]


@pytest.mark.parametrize("direction", [(0, 0, 0), (1, 0), (0, 0, math.inf), (math.nan, 0, 1)])
def test_a_direction_that_is_none_is_refused(direction):
    with pytest.raises(InputError, match="three numbers, not all zero"):
        find_axis(plain_wheel(5), direction)


def test_a_flat_sheet_has_no_axis():
    sheet = mesh_of(box(10, 10, 10))
    with pytest.raises(InputError, match="encloses no volume"):
        find_axis(Mesh(sheet.vertices * [1.0, 1.0, 0.0], sheet.faces))


def test_a_wheel_looks_like_one():
    assert wheel_likeness(voxelise(build_wheel(demo_a()), 4.0)) == ()


@pytest.mark.parametrize(
    ("part", "doubts"),
    [
        (box(300, 300, 20), ["no bore", "width over diameter is 0.0", "metal fills"]),
        (m3.Manifold.cylinder(900, 60, 60, 64, True), ["no bore", "width over diameter is 7", "metal fills"]),
        (
            m3.Manifold.cylinder(60, 150, 150, 64, True) - m3.Manifold.cylinder(70, 30, 30, 64, True),
            ["width", "metal fills"],
        ),
    ],
)
def test_what_is_not_a_wheel_is_doubted_with_the_ratios(part, doubts):
    notes = wheel_likeness(voxelise(mesh_of(part), 5.0))
    assert len(notes) == len(doubts)
    assert all(doubt in note for doubt, note in zip(doubts, notes, strict=True))


def test_overlapping_bodies_have_the_axis_of_the_wheel():
    wheel = plain_wheel(5)
    axis = find_axis(
        joined(wheel, mesh_of(m3.Manifold.cylinder(30, 60, 60, 96) - m3.Manifold.cylinder(30, 33, 33, 96)))
    )
    np.testing.assert_array_equal(axis.direction, [0.0, 0.0, 1.0])
    assert axis.spoke_order == 5

"""The wheel generator: closed solids with the right holes, the volume that counting points predicts, true zones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from castq.core.errors import InputError
from castq.geometry.mesh import Mesh
from castq.geometry.roles import CODE
from castq.geometry.wheel import WheelDesign, build_wheel, demo_a, demo_b, expected_genus, genus, random_design
from castq.geometry.wheel_design import inner_radius_mm, outer_radius_mm
from castq.geometry.wheel_truth import inside, junction_lengths_mm, predicted_volume_cm3, role_at

PLAIN = WheelDesign(pocket_depth_mm=0.0, valve_hole_mm=0.0)
PAIRS = replace(PLAIN, spokes=6, twin=True, spoke_width_hub_mm=20.0, spoke_width_rim_mm=18.0, hub_root_mm=0.0, bolts=6)
DESIGNS = {
    "A": demo_a(),
    "B": demo_b(),
    "plain": PLAIN,
    "pairs": PAIRS,
    "flat": replace(PLAIN, dish_mm=0.0, spokes=9, bolts=4, spoke_width_hub_mm=30.0),
}


def edge_counts(faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return how often each directed edge and each undirected edge occurs."""
    edges = faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    return np.unique(edges, axis=0, return_counts=True)[1], np.unique(np.sort(edges), axis=0, return_counts=True)[1]


def welded_from_single_precision(mesh: Mesh) -> Mesh:
    """Return the mesh as it comes back from a binary STL file: float32 corners, joined where equal."""
    corners = mesh.triangles.astype(np.float32).reshape(-1, 3)
    vertices, index = np.unique(corners, axis=0, return_inverse=True)
    faces = index.reshape(-1, 3)
    distinct = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return Mesh(vertices.astype(float), faces[distinct])


@pytest.mark.parametrize("name", DESIGNS)
def test_wheel_is_one_closed_solid_with_its_holes(name: str) -> None:
    mesh = build_wheel(DESIGNS[name])
    directed, undirected = edge_counts(mesh.faces)
    assert set(directed) == {1}
    assert set(undirected) == {2}
    assert mesh.volume_mm3 > 0.0
    assert genus(mesh) == expected_genus(DESIGNS[name])


def test_number_of_holes_is_windows_bore_bolts_and_valve() -> None:
    assert expected_genus(PLAIN) == 5 + 1 + 5
    assert expected_genus(replace(PLAIN, valve_hole_mm=11.3)) == 5 + 1 + 5 + 1
    assert expected_genus(PAIRS) == 12 + 1 + 6


def test_genus_of_known_bodies() -> None:
    corners = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
    assert genus(Mesh(corners, np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]))) == 0
    i, j = np.meshgrid(np.arange(5), np.arange(7), indexing="ij")
    at = lambda a, b: (a % 5) * 7 + b % 7  # noqa: E731
    one = np.stack([at(i, j), at(i + 1, j), at(i + 1, j + 1)], axis=-1).reshape(-1, 3)
    two = np.stack([at(i, j), at(i + 1, j + 1), at(i, j + 1)], axis=-1).reshape(-1, 3)
    assert genus(Mesh(np.zeros((35, 3)), np.vstack([one, two]))) == 1


@pytest.mark.parametrize("name", ["A", "pairs"])
def test_wheel_stays_closed_through_an_stl_file(name: str) -> None:
    mesh = build_wheel(DESIGNS[name])
    back = welded_from_single_precision(mesh)
    assert np.all(edge_counts(back.faces)[1] % 2 == 0)
    assert back.volume_mm3 == pytest.approx(mesh.volume_mm3, rel=1e-5)


@pytest.mark.parametrize("name", DESIGNS)
def test_volume_is_that_of_the_points_inside(name: str) -> None:
    mesh = build_wheel(DESIGNS[name])
    assert mesh.volume_mm3 / 1000.0 == pytest.approx(predicted_volume_cm3(DESIGNS[name], 3.0), rel=0.004)


def test_volume_of_a_ring_alone_agrees_with_pappus() -> None:
    """Count the points of a wheel beyond its spokes' end: a plain ring between two known cylinders and planes."""
    design = PLAIN
    height = np.linspace(-40.0, -20.0, 2001)
    outer, inner = outer_radius_mm(design, height), inner_radius_mm(design, height)
    exact = np.pi * np.trapezoid(outer**2 - inner**2, height)
    rng = np.random.default_rng(1)
    reach = 240.0
    points = rng.uniform([-reach, -reach, -40.0], [reach, reach, -20.0], (400_000, 3))
    far = np.hypot(points[:, 0], points[:, 1]) > 150.0
    counted = np.count_nonzero(inside(design, points) & far) / len(points) * (2 * reach) ** 2 * 20.0
    assert counted == pytest.approx(exact, rel=0.02)


def test_demo_wheels_weigh_what_such_wheels_weigh() -> None:
    a, b = (build_wheel(design).volume_mm3 * 2.68e-6 for design in (demo_a(), demo_b()))
    assert 12.0 < b < a < 14.0  # as cast, with machining allowance


def test_finer_facets_leave_the_solid_as_it_is() -> None:
    coarse, fine = build_wheel(demo_b()), build_wheel(demo_b(), edge_mm=10.0)
    edges = fine.triangles - np.roll(fine.triangles, 1, axis=1)
    lengths = np.linalg.norm(edges, axis=2)
    assert np.quantile(lengths, 0.9) <= 10.0
    assert lengths.max() < 25.0
    assert len(fine.faces) < 100_000
    assert fine.volume_mm3 == pytest.approx(coarse.volume_mm3, rel=1e-9)
    assert genus(fine) == genus(coarse)


def test_zones_at_known_points() -> None:
    design = PLAIN
    face, end = design.hub_face_mm, design.spoke_end_mm
    at_hub, at_rim = junction_lengths_mm(design)
    middle = 0.5 * (design.hub_radius_mm + end)
    top = design.half_height_mm
    deg = np.radians(36.0)
    cases = {
        "hub": [70.0, 0.0, face - 20.0],
        "bolt seat": [(56.0 + 17.0) * np.cos(deg), (56.0 + 17.0) * np.sin(deg), face - 10.0],
        "spoke-hub junction": [design.hub_radius_mm + at_hub - 2.0, 0.0, face - 10.0],
        "spoke": [middle, 0.0, face - 5.0],
        "spoke-rim junction": [end - at_rim + 2.0, 0.0, face + 5.0],
        "rim well": [outer_radius_mm(design, 24.0) - 2.0, 0.0, 24.0],
        "inboard flange": [design.foot_radius_mm + 8.0, 0.0, -top + 4.0],
        "outboard flange": [design.foot_radius_mm + 8.0, 0.0, top - 4.0],
    }
    codes = role_at(design, np.array(list(cases.values()), dtype=float))
    assert [int(code) for code in codes] == [CODE[role] for role in cases]
    behind = np.array([end + 2.0, 0.0, face + design.dish_mm - 12.0])
    beside = behind @ [[np.cos(deg), np.sin(deg), 0], [-np.sin(deg), np.cos(deg), 0], [0, 0, 1]]
    assert [int(c) for c in role_at(design, np.array([behind, beside]))] == [
        CODE["spoke-rim junction"],
        CODE["rim well"],
    ]
    void = np.array(
        [[0.0, 0.0, face - 5.0], [middle * np.cos(deg), middle * np.sin(deg), face - 5.0], [56.0, 0.0, 0.0]]
    )
    assert not role_at(design, void).any()


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"rim_thickness_mm": -6.0}, "rim_thickness_mm"),
        ({"spokes": 18}, "spokes overlap"),
        ({"bolt_circle_mm": 140.0}, "break out of the hub"),
        ({"bolt_circle_mm": 80.0}, "break into the bore"),
        ({"counterbore_depth_mm": 42.0}, "no seat is left"),
        ({"pocket_depth_mm": 36.0}, "pocket leaves"),
        ({"pocket_depth_mm": 12.0, "pocket_wall_mm": 30.0}, "pocket's floor"),
        ({"pocket_depth_mm": 12.0, "pocket_from_rim_mm": 110.0}, "of pocket"),
        ({"spoke_thickness_hub_mm": 60.0}, "thicker than the hub"),
        ({"dish_mm": 60.0}, "in front of the rim"),
        ({"well_width_mm": 150.0}, "bead seat"),
        ({"hub_radius_mm": 210.0}, "fills the rim"),
        ({"twin": True, "twin_gap_mm": 2.0, "spoke_width_hub_mm": 20.0}, "twin_gap_mm"),
        ({"bolts": 10, "bolt_circle_mm": 100.0}, "counterbores overlap"),
        ({"spokes": 2}, "3 to 24"),
        ({"dish_mm": float("nan")}, "dish_mm"),
    ],
)
def test_impossible_wheel_is_refused(change: dict[str, float], word: str) -> None:
    with pytest.raises(InputError, match=word) as caught:
        build_wheel(replace(PLAIN, **change))
    assert all(fault.source == "wheel design wheel" for fault in caught.value.faults)


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(InputError) as caught:
        replace(PLAIN, rim_thickness_mm=0.0, spokes=2, hub_height_mm=-1.0).validate()
    assert {fault.place for fault in caught.value.faults} == {"rim_thickness_mm", "spokes", "hub_height_mm"}


def test_random_designs_can_be_made_and_vary() -> None:
    rng = np.random.default_rng(3)
    designs = [random_design(rng) for _ in range(60)]
    for design in designs:
        design.validate()
    assert {design.members for design in designs} >= {5, 8, 12, 16, 19}
    assert {design.twin for design in designs} == {True, False}
    assert any(design.dish_mm == 0.0 for design in designs)
    assert any(design.pocket_depth_mm > 0.0 for design in designs)
    assert {design.valve_hole_mm for design in designs} == {0.0, 11.3}
    for design in designs[:5]:
        assert genus(build_wheel(design)) == expected_genus(design)

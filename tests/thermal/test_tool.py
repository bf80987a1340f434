"""The parts of a tool in the solid solver: each moves freezing the right way, and its heat closes the balance."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import manifold3d as m3
import numpy as np
import pytest

from castq import materials
from castq.core.errors import InputError
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import Grid, voxelise
from castq.thermal.die_growth import Sector
from castq.thermal.solid import SolidTimes, freeze_solid, solve, spread
from castq.thermal.solid_build import Built, build
from castq.thermal.solid_problem import OUTER, Pace
from castq.thermal.tool import Body, Circuit, FeederHead, Gate, Plug, Region, Ring, ToolParts, Tube
from castq.thermal.tool_surface import BARE
from tests.thermal.solid_shapes import A356, CONTACT, DIE_C, GAP, H13, MELT_C, WALL_MM, mesh_of

TOOL: dict[str, Any] = {
    "alloy": A356, "die": H13, "melt_temp_c": MELT_C, "die_temp_c": DIE_C, "contact_w_m2k": CONTACT, "gap_w_m2k": GAP,
    "die_wall_mm": WALL_MM,
}  # fmt: skip
COPPER, SAND = (materials.die_material(name) for name in ("CuBe C17510", "resin-bonded silica sand"))
SIZE_MM = (24.0, 20.0, 16.0)
BLOCK = mesh_of(m3.Manifold.cube(SIZE_MM, True))
GRID = voxelise(BLOCK, 2.0)
BALL = mesh_of(m3.Manifold.sphere(20.0, 96))
ALWAYS = ((0.0, 1e4),)


def cut_block(size: tuple[float, float, float], corner: tuple[float, float, float]) -> Mesh:
    return mesh_of(m3.Manifold.cube(size).translate(corner))


# A cuboid against one end of the block, and the die around the block with its top side left open.
SIDE = cut_block((12.0, 24.0, 20.0), (12.0, -12.0, -10.0))
AROUND = m3.Manifold.cube([64.0, 60.0, 56.0], True) - m3.Manifold.cube(SIZE_MM, True)
OPEN_TOP = mesh_of(AROUND - m3.Manifold.cube([100.0, 100.0, 100.0], True).translate([0.0, 0.0, 58.0]))


def built(grid: Grid = GRID, surface: Mesh = BLOCK, **over: Any) -> Built:
    return build(grid, surface=surface, **{**TOOL, **over})


def frozen(grid: Grid = GRID, surface: Mesh = BLOCK, pace: Pace | None = None, **over: Any) -> SolidTimes:
    return freeze_solid(grid, surface=surface, pace=pace, **{**TOOL, **over})


def circuit(shape: Any, film: float = 5000.0, on: Any = ALWAYS, temp_c: float = 25.0) -> ToolParts:
    return ToolParts(circuits=(Circuit("one", shape, "water", film, temp_c, on),))


def at(times: SolidTimes, side: float) -> float:
    """Return the mean local solidification time of the outer voxels on one side along x [s]."""
    x = GRID.centres_mm[0]
    return float(np.nanmean(times.local_solidification_s[side * x > 8.0]))


RING = Ring(22.0, 0.0, 6.0)


@pytest.mark.parametrize(("single", "closed"), [(False, 1e-12), (True, 1e-6)])
def test_water_cools_more_than_air_and_the_heat_closes(single: bool, closed: float) -> None:
    found = [frozen(parts=parts, pace=Pace(single=single)) for parts in
             (ToolParts(), circuit(RING, 200.0), circuit(RING, 5000.0))]  # fmt: skip
    taken = [times.baths.get("one", 0.0) for times in found]
    assert 0.0 == taken[0] < 0.2 * taken[2] and 0.0 < taken[1] < 0.2 * taken[2]
    mean = [float(np.nanmean(times.solid_s)) for times in found]
    assert mean[0] > mean[1] > mean[2] + 3.0
    assert max(abs(times.heat_residual) for times in found) < closed


def test_a_circuit_switched_on_late_changes_nothing_before() -> None:
    late, never = (frozen(parts=circuit(RING, on=on)) for on in (((20.0, 30.0), (35.0, 36.5)), ()))
    assert never.baths["one"] == 0.0 < late.baths["one"]
    for name in ("liquidus_s", "coherency_s", "cutoff_s", "solid_s"):
        when = getattr(never, name)
        before, after = when < 19.5, when > 26.0
        np.testing.assert_array_equal(getattr(late, name)[before], when[before])
        assert np.all(getattr(late, name)[after] < when[after])
    assert np.count_nonzero(never.coherency_s < 19.5) > 500 and np.count_nonzero(never.solid_s > 26.0) > 500


@pytest.mark.parametrize("shape", [
    RING, Tube((0.0, -24.0, 18.0), (0.0, 24.0, 18.0), 6.0), Tube((0.0, -20.0, 18.0), (0.0, 20.0, 18.0), 0.5),
    Plug((0.0, 0.0, 14.0), (0.0, 0.0, 60.0), 6.0), Region((0.0, 10.0), (12.0, 18.0)),
])  # fmt: skip
def test_each_shape_has_its_true_wall_and_cools(shape: Any) -> None:
    one = built(parts=circuit(shape))
    bath = next(bath for bath in one.problem.baths if bath.name == "one")
    bore = getattr(shape, "bore_mm", 0.0)
    exact = {
        Ring: 2.0 * np.pi**2 * 22.0 * bore,
        Tube: np.pi * bore * (48.0 if bore > 1.0 else 40.0),
        Plug: np.pi * bore**2 * (0.25 + 2.0),
        Region: 2.0 * np.pi * (10.0 * 6.0 + 10.0**2),
    }[type(shape)]
    assert bath.area.sum() * 4.0 == pytest.approx(exact, rel=0.06 if type(shape) is Region else 1e-9)
    times = spread(one, solve(one))
    assert times.baths["one"] > 0.0
    assert np.nanmean(times.solid_s) < np.nanmean(frozen().solid_s) - 0.05


def test_a_sector_with_ring_and_tubes_stands_for_the_whole() -> None:
    turn = 0.2
    c, s = np.cos(turn), np.sin(turn)
    disc = m3.Manifold.cylinder(14.0, 44.0, 44.0, 96, True)
    for quarter in range(4):
        hole = m3.Manifold.cylinder(30.0, 8.0, 8.0, 48, True).translate([34.0, 0.0, 0.0])
        disc -= hole.rotate([0.0, 0.0, 90.0 * quarter])
    box = m3.Manifold.cube([8.0, 6.0, 8.0], True).translate([44.0, 0.0, 0.0])
    mesh, core = (mesh_of(body.rotate([0.0, 0.0, np.degrees(turn)])) for body in (disc, box))
    grid, sector = voxelise(mesh, 2.0), Sector(turn, np.pi / 4.0)
    parts = ToolParts(circuits=(
        Circuit("ring", Ring(30.0, 19.0, 6.0), "water", 4000.0, 25.0, ALWAYS),
        Circuit("tubes", Tube((34.0 * c, 34.0 * s, -40.0), (34.0 * c, 34.0 * s, 4.0), 6.0), "mist", 2000.0, 40.0,
                ((2.0, 30.0),)),
    ), bodies=(Body("cores", core, SAND, 20.0, 200.0, 150.0),))  # fmt: skip
    given = {"parts": parts, "die_wall_mm": 20.0, "pace": Pace(1.0, 0.05, 0.05)}
    whole = frozen(grid, mesh, repeats=sector, **given)
    for part in (frozen(grid, mesh, sector=s, **given) for s in (sector, Sector(turn, np.pi / 2.0, turning=True))):
        off = (part.local_solidification_s / whole.local_solidification_s - 1.0)[grid.solid]
        assert abs(off.mean()) < 0.01 and np.abs(off).mean() < 0.02
        assert part.baths.keys() == whole.baths.keys() == {OUTER, "ring", "tubes"}
        for name, heat in whole.baths.items():
            assert part.baths[name] == pytest.approx(heat, rel=0.03), name
    once = frozen(grid, mesh, **given)
    assert once.baths["tubes"] == pytest.approx(whole.baths["tubes"] / 4.0, rel=0.1)


def test_a_chill_shortens_and_a_sand_core_lengthens_freezing_beside_it() -> None:
    same, chill, core = (
        frozen(parts=ToolParts(bodies=(Body("body", SIDE, material),))) for material in (H13, COPPER, SAND)
    )
    np.testing.assert_array_equal(same.solid_s, frozen().solid_s)
    assert at(chill, 1.0) < at(same, 1.0) - 0.5 and at(core, 1.0) > at(same, 1.0) + 2.0
    assert abs(at(chill, -1.0) - at(same, -1.0)) < 0.5 * (at(same, 1.0) - at(chill, 1.0))
    assert max(abs(times.heat_residual) for times in (chill, core)) < 1e-6


def test_a_body_brings_its_own_temperature_and_film() -> None:
    body = Body("insert", SIDE, H13, 120.0, 9000.0, 4000.0)
    one = built(parts=ToolParts(bodies=(body,)))
    touching = one.problem.contact_w_m2k == 9000.0
    area = one.problem.links.area[touching].sum() * 4.0
    assert area == pytest.approx(SIZE_MM[1] * SIZE_MM[2], rel=0.03)
    assert set(one.problem.gap_w_m2k[touching]) == {4000.0} and set(one.problem.gap_w_m2k[~touching]) == {GAP}
    cold = one.problem.die_temp_c[one.problem.die.active] == 120.0
    assert np.count_nonzero(cold) * 8.0 == pytest.approx(12.0 * 24.0 * 20.0, rel=0.15)
    times = spread(one, solve(one))
    assert at(times, 1.0) < at(times, -1.0) - 5.0


def test_a_channel_in_another_material_feels_that_material() -> None:
    zone = Body("chill", Region((18.0, 26.0), (-4.0, 4.0)), COPPER)
    plain, mixed = (built(parts=replace(circuit(RING), bodies=bodies)).problem.baths[1] for bodies in ((), (zone,)))
    np.testing.assert_array_equal(plain.place, mixed.place)
    ratio = plain.half / mixed.half
    assert set(np.round(ratio, 6)) <= {1.0, round(COPPER.k_w_mk / H13.k_w_mk, 6)}
    assert np.mean(ratio > 1.0) > 0.5


def test_a_ring_that_leaves_the_die_cools_with_what_is_left_of_it_and_is_named() -> None:
    one = built(parts=circuit(Ring(34.0, 0.0, 6.0)))
    bath = one.problem.baths[1]
    assert 0.1 < bath.area.sum() * 4.0 / (2.0 * np.pi**2 * 34.0 * 6.0) < 0.98
    assert "of its ring runs in the die" in spread(one, solve(one)).notes[0]


def test_a_plug_on_the_axis_cools_a_sector_as_it_cools_the_whole() -> None:
    mesh = mesh_of(m3.Manifold.cylinder(16.0, 24.0, 24.0, 96, True))
    grid = voxelise(mesh, 2.0)
    parts = circuit(Plug((0.0, 0.0, 14.0), (0.0, 0.0, 60.0), 8.0))
    found = [frozen(grid, mesh, parts=parts, sector=sector) for sector in (None, Sector(0.1, np.pi / 5.0))]
    assert found[1].baths["one"] == pytest.approx(found[0].baths["one"], rel=0.1)


def test_a_drawn_die_is_the_grown_one_where_they_are_the_same() -> None:
    grid = voxelise(BALL, 2.0)
    shell = m3.Manifold.sphere(40.0, 96) - m3.Manifold.sphere(20.0, 96)
    lower = m3.Manifold.cube([100.0, 100.0, 50.0], True).translate([0.0, 0.0, -25.0])
    halves = tuple(
        Body(name, mesh_of(part), H13) for name, part in (("lower", shell ^ lower), ("upper", shell - lower))
    )
    pace = Pace(0.3, 0.01, 0.01)
    grown, drawn = (frozen(grid, BALL, pace, parts=parts) for parts in (ToolParts(), ToolParts(die=halves)))
    off = (drawn.local_solidification_s / grown.local_solidification_s - 1.0)[grid.solid]
    assert np.abs(off).max() < 0.01
    assert drawn.baths[OUTER] == pytest.approx(grown.baths[OUTER], rel=0.05)
    assert drawn.baths.get(BARE, 0.0) < 1e-3 * drawn.baths[OUTER]
    assert drawn.cells["die"] * 8.0 == pytest.approx(4.0 / 3.0 * np.pi * (40.0**3 - 20.0**3), rel=0.01)


def test_metal_without_die_loses_heat_to_the_air() -> None:
    one = built(parts=ToolParts(die=(Body("die", OPEN_TOP, H13),)))
    bare = next(bath for bath in one.problem.baths if bath.name == BARE)
    top, whole = SIZE_MM[0] * SIZE_MM[1], BLOCK.area_mm2
    assert bare.area.sum() * 4.0 == pytest.approx(top, rel=0.02)
    assert one.problem.links.area.sum() * 4.0 == pytest.approx(whole - top, rel=0.01)
    times = spread(one, solve(one, pace=Pace(single=False)))
    # 480 mm2 at 30 W/m2K and about 530 K over the air, for as long as it takes to freeze.
    seconds = float(np.nanmax(times.solid_s))
    assert times.baths[BARE] == pytest.approx(1e-3 * 30.0 * 480e-6 * 480.0 * seconds, rel=0.05)
    assert abs(times.heat_residual) < 1e-12
    above, below = (float(np.nanmean(times.solid_s[:, :, s * GRID.centres_mm[2] > 6.0])) for s in (1.0, -1.0))
    assert above > below + 1.0


@pytest.mark.parametrize(("side", "face_side", "way"), [(0, 1, 1.0), (0, -1, -1.0), (-1, 1, -1.0)])
def test_the_gate_takes_its_disc_from_the_die(side: int, face_side: int, way: float) -> None:
    one = built(parts=ToolParts(gate=Gate(8.0, side)), face_side=face_side)
    taken = built().problem.links.area.sum() - one.problem.links.area.sum()
    assert taken * 4.0 == pytest.approx(np.pi * 8.0**2, rel=0.05)
    times = spread(one, solve(one))
    assert times.gate is not None
    where = np.argwhere(times.gate)
    z, x, y = (GRID.centres_mm[a][where[:, a]] for a in (2, 0, 1))
    assert np.all(way * z > 5.0) and np.all(np.hypot(x, y) < 10.5) and len(where) > 40
    near, far = (np.nanmean(times.solid_s[:, :, s * GRID.centres_mm[2] > 6.0]) for s in (way, -way))
    assert near > far + 0.5
    assert frozen().gate is None
    assert float(times.notes[0].split()[1]) == pytest.approx(0.01 * np.pi * 8.0**2, rel=0.05)


def test_a_feeder_head_feeds_from_where_it_stands_and_closes_in_time_or_is_named() -> None:
    heads = [FeederHead("low", (4.0, 0.0, 8.0), 12.0, 8.0), FeederHead("tall", (-4.0, 0.0, -8.0), 16.0, -24.0)]
    small, tall = (built(parts=ToolParts(feeders=(head,))) for head in heads)
    for one, head in zip((small, tall), heads, strict=True):
        metal = one.cells.casting.volume.sum() * 8.0 - BLOCK.volume_mm3
        assert metal == pytest.approx(np.pi / 4.0 * head.diameter_mm**2 * abs(head.height_mm), rel=0.04)
        bare = next(bath for bath in one.problem.baths if bath.name == BARE)
        assert bare.area.sum() * 4.0 == pytest.approx(np.pi / 4.0 * head.diameter_mm**2, rel=0.1)
    low, high = (spread(one, solve(one)) for one in (small, tall))
    assert low.heads["low"] < np.nanmax(low.cutoff_s) and "low closes at" in low.notes[0]
    assert high.heads["tall"] > low.heads["low"]
    assert low.gate is not None and low.gate.shape == GRID.shape
    x, y, z = (GRID.centres_mm[a][np.argwhere(low.gate)[:, a]] for a in range(3))
    assert np.all(z > 3.0) and np.all(np.hypot(x - 4.0, y) < 8.5) and np.count_nonzero(low.gate) > 20
    assert np.isfinite(low.solid_s[GRID.solid]).all()
    assert max(abs(times.heat_residual) for times in (low, high)) < 1e-6


def test_a_built_problem_is_marched_from_any_die() -> None:
    one = built()
    first = solve(one, pace=Pace(single=False))
    start = one.problem.die_temp_c[one.problem.die.active]
    np.testing.assert_allclose(first.die_c - first.die_rise_k, start, atol=1e-9)
    hot = solve(one, start + 40.0, Pace(single=False))
    assert np.nanmin(hot.times_s[-1] - first.times_s[-1]) > 2.0
    np.testing.assert_array_equal(spread(one, hot).solid_s,
                                  frozen(die_temp_c=DIE_C + 40.0, pace=Pace(single=False)).solid_s)  # fmt: skip
    halted = solve(one, until_s=5.0)
    assert halted.seconds_s == 5.0 and np.isnan(halted.times_s[-1]).any()


def ring(**over: Any) -> ToolParts:
    return ToolParts(circuits=(replace(circuit(RING).circuits[0], **over),))


@pytest.mark.parametrize(("parts", "words"), [
    (ring(coefficient_w_m2k=0.0), "circuit, one: coefficient 0 W/m2K is out of range; expected 1 to 100000"),
    (ring(coefficient_w_m2k=1e7), "coefficient 1e.07 W/m2K is out of range"),
    (ring(temp_c=600.0), "circuit, one: temperature 600 degC is out of range"),
    (ring(on_s=((30.0, 20.0),)), "circuit, one: it is on from 30 to 20 s"),
    (ring(on_s=((0.0, 20.0), (10.0, 30.0))), "it is on from 10 to 30 s"),
    (ring(shape=Ring(22.0, 0.0, -1.0)), "circuit, one: bore -1 mm is out of range"),
    (ring(shape=Tube((1.0, 2.0, 3.0), (1.0, 2.0, 3.0), 6.0)), "circuit, one: length 0 mm"),
    (ring(shape=Region((20.0, 10.0), (0.0, 5.0))), "circuit, one: radii 20 to 10 mm"),
    (ring(shape=Ring(60.0, 0.0, 6.0)), r"circuit, one: it lies outside the die, \d+ mm away"),
    (ring(shape=Region((0.0, 10.0), (80.0, 90.0))), "circuit, one: its region holds no die"),
    (ring(shape=Tube((-30.0, 0.0, 0.0), (30.0, 0.0, 0.0), 6.0)),
     r"circuit, one: it runs through the casting, up to \d+\.\d mm below"),
    (ToolParts(circuits=ring().circuits * 2), "circuit, one: the name is given to 2 of them"),
    (ToolParts(bodies=(Body("core", cut_block((4.0, 4.0, 4.0), (90.0, 0.0, 0.0)), SAND),)),
     "body, core: it meets no die"),
    (ToolParts(bodies=(Body("core", Mesh(SIDE.vertices, SIDE.faces[:-3]), SAND),)),
     r"body, core: \d+ % of the scan lines through its mesh do not close"),
    (ToolParts(bodies=(Body("core", Mesh(SIDE.vertices * np.nan, SIDE.faces), SAND),)), "body, core: its mesh has no"),
    (ring(shape=Ring(22.0, float("nan"), 6.0)), "circuit, one: height nan mm is out of range"),
    (ToolParts(feeders=(FeederHead("a", (0.0, float("inf"), 8.0), 10.0, 9.0),)), "feeder, a: foot y inf mm"),
    (ToolParts(bodies=(Body("core", SIDE, SAND, 700.0),)), "body, core: start temperature 700 degC is out of range"),
    (ToolParts(bodies=(Body("core", SIDE, SAND, None, 0.0),)), "body, core: contact coefficient 0 W/m2K"),
    (ToolParts(die=(Body("top", mesh_of(m3.Manifold.cube([64.0, 60.0, 56.0], True)), H13),)),
     r"die, top: it overlaps the casting by 7\.68 cm3"),
    (ToolParts(die=(Body("top", cut_block((9.0, 9.0, 9.0), (60.0, 0.0, 0.0)), H13),)),
     "die, top: no part of it touches the casting"),
    (ToolParts(feeders=(FeederHead("a", (0.0, 0.0, 30.0), 10.0, 20.0),)),
     r"feeder, a: its foot does not stand on the casting; the nearest metal is 2\d mm away"),
    (ToolParts(feeders=(FeederHead("a", (0.0, 0.0, 8.0), 10.0, 0.0),)), "feeder, a: height 0 mm is out of range"),
    (ToolParts(gate=Gate(0.0)), "gate: radius 0 mm is out of range"),
    (ToolParts(gate=Gate(5.0, 2)), "gate: side 2"),
])  # fmt: skip
def test_impossible_parts_are_refused_by_name(parts: ToolParts, words: str) -> None:
    with pytest.raises(InputError, match=words):
        built(parts=parts)


def test_a_gate_without_metal_and_a_wall_thinner_than_the_voxels_are_refused() -> None:
    hollow = mesh_of(
        m3.Manifold.cylinder(12.0, 24.0, 24.0, 64, True) - m3.Manifold.cylinder(40.0, 12.0, 12.0, 64, True)
    )
    with pytest.raises(InputError, match="gate: no metal faces it within 8 mm of the axis"):
        built(voxelise(hollow, 2.0), hollow, parts=ToolParts(gate=Gate(8.0)))
    with pytest.raises(InputError, match=r"voxels of 2 mm put 1\.2 cells across the thinnest wall of 2\.5 mm"):
        built(thinnest_mm=2.5)
    assert built(thinnest_mm=16.0).shares["casting"] > 0

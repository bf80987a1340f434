"""The solid solver against closed forms and one-dimensional solutions: bars of cells, and real shapes on cut cells."""

from __future__ import annotations

from collections.abc import Iterator

import manifold3d as m3
import numpy as np
import pytest

from castq.geometry.voxels import voxelise
from castq.thermal.solid_patches import surface_patches, true_fractions
from castq.thermal.solid_problem import Pace
from castq.thermal.wall import freeze_walls
from tests.thermal import closed_forms as exact
from tests.thermal import solid_cases as cases
from tests.thermal.manufactured import film_off, two_metal_error
from tests.thermal.solid_shapes import grid_of, mesh_of, turned_plate
from tests.thermal.test_depths import DEPTHS, TOOL, WALLS, box, depths_s, wall_table
from tests.thermal.test_solid import FINE, SMALL, errors, frozen, windowed
from tests.validation.rows import Row, grid_error
from tests.validation.walls import FRONTS, SCHWARZ, STEFAN

TOPIC = "Solid solver, three-dimensional"
OURS = "separate one-dimensional solution, ours, apart from castq"


def row(what: str, id: str, values: list[float], d: float, share: float, source: str, unit: str = "s") -> Row:
    """Return the line of a value on two or three grids, each of half the cell of the one before."""
    u_num, words = grid_error(values)
    return Row(TOPIC, what, id, values[-1], d, share * abs(d), u_num=u_num, source=source, unit=unit, note=words)


def front_rows() -> Iterator[Row]:
    sizes = (2.0, 1.0, 0.5)
    for name, (metal, melt_c, face_c) in FRONTS.items():
        root = exact.neumann_root(metal, melt_c, face_c)
        seconds, right = (exact.front_time_s(metal, root, depth) for depth in (17.0, 15.0))
        values = [cases.frozen_depth_s(cases.stefan_bar(metal, melt_c, face_c, cell, seconds), cell, (7.9, 16.1), 15.0)
                  for cell in sizes]  # fmt: skip
        yield row("Stefan and Neumann", f"time to freeze 15 mm: {name}", values, right, 0.01, STEFAN)


def mould_rows() -> Iterator[Row]:
    for mould, (body, start_c) in cases.MOULDS.items():
        root, face = exact.schwarz(cases.AT_FREEZING, body, start_c)
        right = exact.front_time_s(cases.AT_FREEZING, root, 5.0)
        runs = {cell: cases.mould_bar(mould, cell, 1.3 * right) for cell in (1.0, 0.5, 0.25)}
        values = [cases.frozen_depth_s(run, cell, (2.0, 5.0), 5.0) for cell, run in runs.items()]
        yield row("Metal against a mould", f"time to freeze 5 mm: {mould}", values, right, 0.01, SCHWARZ)
        faces = [float(run.link_c[0, 1]) for run in runs.values()]
        yield row("Metal against a mould", f"face temperature: {mould}", faces, face, 0.001, SCHWARZ, "degC")


def cooling_rows() -> Iterator[Row]:
    what, heat = "Cooling and heating without freezing", 2550.0 * 1000.0 / 100.0
    for biot, fourier in ((0.1, 5.0), (1.0, 0.5), (10.0, 0.2)):
        left = exact.slab_middle(biot, fourier)
        values = [cases.slab_time_s(biot, left, cells) for cells in (4, 8, 16)]
        yield row(what, f"middle of a slab, Bi {biot:g}", values, fourier * 0.02**2 * heat, 0.005,
                  "Carslaw and Jaeger 1959, 3.11")  # fmt: skip
    for biot, fourier in ((1.0, 0.25), (5.0, 0.2)):
        left = exact.ball_middle(biot, fourier)
        values = [cases.ball_time_s(biot, left, cell) for cell in (8.0, 4.0, 2.0)]
        yield row(what, f"middle of a ball of 48 mm on cut cells, Bi {biot:g}", values,
                  fourier * (1e-3 * cases.BALL_MM) ** 2 * heat, 0.005, "Carslaw and Jaeger 1959, 9.4")  # fmt: skip
    skins = {cell: cases.heated_half_space(cell, 1500.0, 30.0)[1][-1] for cell in (4.0, 2.0, 1.0)}
    faces = [600.0 - (600.0 - skin) / (1.0 + 0.5e-3 * cell * 1500.0 / cases.STEEL[0]) for cell, skin in skins.items()]
    right = 350.0 + 250.0 * exact.half_space_share(0.0, 30.0, 1500.0, cases.STEEL)
    yield row(what, "face of the die behind a film, 30 s", faces, right, 0.001, "Carslaw and Jaeger 1959, 2.7", "degC")
    parts = np.diff(cases.lumped_times_s(), prepend=0.0)
    spans = (("700 to 615 degC, liquid", 1150.0, (700.0, 615.0, 350.0)),
             ("615 to 555 degC, freezing evenly", 430e3 / 60.0 + 1125.0, (615.0, 555.0, 350.0)),
             ("555 to 500 degC, solid", 1100.0, (555.0, 500.0, 350.0)))  # fmt: skip
    for (name, cp, temps), found in zip(spans, parts, strict=True):
        d = exact.lumped_time_s(12.0 * cp, 1500.0, temps)
        yield Row(TOPIC, what, f"thin body, {name}", float(found), d, 1e-3 * d, unit="s", note="one cell: no grid",
                  source="Newton's law of cooling")  # fmt: skip


def manufactured_rows() -> Iterator[Row]:
    what = "Manufactured solutions (D = 0: rms or worst error over waves of 100 K)"
    values = [float(np.sqrt(np.mean(film_off(cells, 5.0 / cells**2) ** 2))) for cells in (8, 16, 32)]
    yield Row(TOPIC, what, "metal, film and die with sources", values[-1], 0.0, 0.002, unit="K",
              u_num=grid_error(values)[0], source="fields chosen beforehand", note=grid_error(values)[1])  # fmt: skip
    values = [two_metal_error(cells) for cells in (8, 16, 32)]
    yield Row(TOPIC, what, "solid and liquid metal of two conductivities", values[-1], 0.0, 0.003, unit="-",
              u_num=grid_error(values)[0], source="fields chosen beforehand", note=grid_error(values)[1])  # fmt: skip


def balance_rows() -> Iterator[Row]:
    grid = voxelise(SMALL, 2.0)
    what = "Heat balance over a shot: heat taken less heat given, over the latter (D = 0)"
    for single, limit in ((False, 1e-12), (True, 1e-6)):
        found = frozen(SMALL, grid, pace=Pace(single=single)).heat_residual
        yield Row(TOPIC, what, f"{'single' if single else 'double'} precision", found, 0.0, limit, unit="-",
                  source="conservation of energy")  # fmt: skip


def _plate_error(wall_mm: float, degrees: float, voxel_mm: float) -> float:
    """Return the mean error of the local solidification time in the middle of a turned plate [-]."""
    mesh = turned_plate(wall_mm, degrees)
    grid = grid_of(mesh, voxel_mm, 0.5)
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    x, y, z = np.meshgrid(*grid.centres_mm, indexing="ij")
    depth = np.where((np.abs(z) < 4.0) & (np.abs(x * c + y * s) < 25.0), np.abs(y * c - x * s), np.nan)
    with pytest.MonkeyPatch.context() as patch:
        windowed(patch, grid, (c, s), 50.0)
        return float(errors(frozen(mesh, grid, pace=FINE), grid, depth, ("plate", 0.5 * wall_mm)).mean())


def _ball_error(voxel_mm: float) -> float:
    mesh = mesh_of(m3.Manifold.sphere(20.0, 192))
    grid = grid_of(mesh, voxel_mm, 0.0)
    x, y, z = np.meshgrid(*grid.centres_mm, indexing="ij")
    return float(errors(frozen(mesh, grid, pace=FINE), grid, np.sqrt(x**2 + y**2 + z**2), ("sphere", 20.0)).mean())


def shape_rows() -> Iterator[Row]:
    """Lines of real shapes: mean over the voxels of the local solidification time over the right one."""
    what = "Real shapes on cut cells of 2 mm: mean of local solidification time over that of the separate solution"
    runs = {"ball of 40 mm": ([_ball_error(cell) for cell in (4.0, 2.0)], 0.01)}
    for wall, degrees, limit in ((12.0, 0.0, 0.01), (12.0, 20.0, 0.01), (12.0, 45.0, 0.03), (9.0, 0.0, 0.03),
                                 (9.0, 30.0, 0.03), (9.0, 45.0, 0.03)):  # fmt: skip
        found = [_plate_error(wall, degrees, cell) for cell in (3.0, 2.0)]
        runs[f"plate of {wall:g} mm at {degrees:g} degrees"] = (found, limit)
    for name, (found, limit) in runs.items():
        u_num = grid_error(found, ratio=2.0 if "ball" in name else 1.5)[0]
        note = f"two grids, order 1 assumed; coarse grid {1.0 + found[0]:.4f}"
        yield Row(TOPIC, what, name, 1.0 + found[-1], 1.0, limit, u_num=u_num, source=OURS, unit="-", note=note,
                  kind="independent arithmetic")  # fmt: skip
    mesh = turned_plate(9.0, 45.0)
    grid = grid_of(mesh, 2.0, 0.5)
    patches = surface_patches(mesh, grid)
    true = true_fractions(mesh, grid, patches)
    for name, s, d, unit in (("surface of the links", patches.area_mm2.sum(), mesh.area_mm2, "mm2"),
                             ("volume of the cells", true.volume_mm3, mesh.volume_mm3, "mm3")):  # fmt: skip
        yield Row(TOPIC, "Plate of 9 mm at 45 degrees", name, float(s), float(d), 0.01 * float(d), unit=unit,
                  source="the mesh itself")  # fmt: skip


def depth_rows() -> Iterator[Row]:
    what = "Section depth (S) against solid depth (D), local solidification time in the middle"
    notes = {"square bar of 24 mm": "more die around it than around a plate of its modulus",
             "plate of 12 mm, 84 mm square": "heat flows to the edges, to which the section is blind"}  # fmt: skip
    found = {"plate of 12 mm, 84 mm square": depths_s(mesh_of(box(84.0, 12.0, 84.0)), 3.0)}
    for name, (mesh, long_mm, _, _) in DEPTHS.items():
        with pytest.MonkeyPatch.context() as patch:
            windowed(patch, grid_of(mesh, 2.0, 0.3), (1.0, 0.0), long_mm)
            found[f"{name}, endless"] = depths_s(mesh, 2.0)
    for name, (at_solid, at_section) in sorted(found.items()):
        yield Row(TOPIC, what, name, at_section, at_solid, 0.05 * at_solid, unit="s", u_d=0.01 * at_solid,
                  note=notes.get(name.removesuffix(", endless"), ""), kind="own solver",
                  source="castq's own solid solver at 2 mm (84 mm plate: 3 mm): no outside value")  # fmt: skip


def table_rows() -> Iterator[Row]:
    what = "Walls of A356 in H13, one row of cells, to 558 degC: 12 cells, u_num from 8, 12 and 16"
    for wall, contact, gap, solid, local in wall_table():
        found = np.array([cases.wall_bar(wall, contact, gap, cells) for cells in (8, 12, 16)])
        spread = 0.5 * (found.max(axis=0) - found.min(axis=0))
        for column, (name, d) in enumerate((("solid", solid), ("local", local))):
            yield Row(TOPIC, what, f"{wall:g} mm, {contact:g} then {gap:g} W/m2K, {name}", float(found[1, column]), d,
                      0.05 * d, u_num=float(spread[column]), u_d=0.005 * d, unit="s", kind="independent arithmetic",
                      source=OURS)  # fmt: skip


def wall_rows() -> Iterator[Row]:
    what = "One row of cells (S) against the wall solver (D): middle of a wall of A356 in H13"
    tool = {key: TOOL[key] for key in ("alloy", "die", "melt_temp_c", "die_temp_c")}
    for wall, contact, gap in WALLS:
        times = freeze_walls(wall, contact_w_m2k=contact, gap_w_m2k=gap, cells=20, **tool)
        found = np.array([cases.wall_events_s(wall, contact, gap, cells) for cells in (3, 6, 12)])
        for column, name, d in ((1, "cut-off", times.cutoff_s[0]), (2, "solid", times.solid_s[0])):
            u_num, words = grid_error(list(found[:, column]))
            yield Row(TOPIC, what, f"{wall:g} mm, {contact:g} then {gap:g} W/m2K, {name}", float(found[-1, column]),
                      float(d), 0.02 * float(d), u_num=u_num, u_d=0.002 * float(d), unit="s", note=words,
                      kind="own solver", source="castq's own wall solver: no outside value")  # fmt: skip


def rows() -> list[Row]:
    """Return the lines of the solid solver."""
    parts = (
        front_rows,
        mould_rows,
        cooling_rows,
        manufactured_rows,
        balance_rows,
        shape_rows,
        depth_rows,
        table_rows,
        wall_rows,
    )
    return [line for part in parts for line in part()]

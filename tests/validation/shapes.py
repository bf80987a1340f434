"""Feeding islands, volumes and surfaces, sections and zones against shapes whose answers are known beforehand."""

from __future__ import annotations

from collections.abc import Iterator

import manifold3d as m3
import numpy as np

from castq.feeding.flood import flood
from castq.feeding.islands import find_islands
from castq.geometry.thickness import local_section
from castq.geometry.voxels import voxelise
from castq.geometry.wheel import build_wheel, demo_a, demo_b, random_design
from castq.geometry.zones import find_zones
from tests.geometry.shapes import box, mesh_of, near
from tests.geometry.test_zones import confusion
from tests.validation.rows import Row, grid_error

FEEDING, GEOMETRY = "Feeding engine", "Geometry and zones"
SHRINKAGE_PCT, CUTOFF_FS = 5.0, 0.7


def two_domes(spacing_mm: float) -> tuple[float, float, float]:
    """Return when the second of two domes of cut-off time is cut off [s], its volume and its lack [mm3].

    Both fall as 0.05 s/mm2 of distance, from 60 s at the feeder and from 48 s at 40 mm from it: they meet in a plane
    17 mm from the second, so that it is cut off at 33.55 s and the island is a ball of 17 mm radius.
    """
    x = np.arange(-40.0, 80.0, spacing_mm) + 0.5 * spacing_mm
    y = np.arange(-30.0, 30.0, spacing_mm) + 0.5 * spacing_mm
    across = y[:, None] ** 2 + y[None, :] ** 2
    domes = [peak - 0.05 * ((x[:, None, None] - place) ** 2 + across) for peak, place in ((60.0, 0.0), (48.0, 40.0))]
    cutoff = np.maximum(*domes)
    cutoff = np.where(cutoff > 5.0, cutoff, np.nan).astype(np.float32)
    gate = np.zeros(cutoff.shape, dtype=bool)
    gate[np.unravel_index(np.nanargmax(cutoff), cutoff.shape)] = True
    found = find_islands(flood(cutoff, gate, spacing_mm=spacing_mm), shrinkage_pct=SHRINKAGE_PCT, cutoff_fs=CUTOFF_FS)
    (island,) = found.cut_off
    return island.cut_s, island.volume_mm3, island.shrinkage_mm3


def feeding_rows() -> Iterator[Row]:
    what = "Two domes of cut-off time: the second closes in a ball of 17 mm radius at 33.55 s"
    ball = 4.0 / 3.0 * np.pi * 17.0**3
    runs = np.array([two_domes(spacing) for spacing in (2.0, 1.0, 0.5)])
    rights = (("cut off at", 33.55, 0.02, "s"), ("volume", ball, 0.05, "mm3"),
              ("lack of metal", ball * (1.0 - CUTOFF_FS) * SHRINKAGE_PCT / 100.0, 0.05, "mm3"))  # fmt: skip
    for values, (name, d, share, unit) in zip(runs.T, rights, strict=True):
        u_num, words = grid_error(list(values), formal=1.0)
        yield Row(FEEDING, what, name, float(values[-1]), d, share * d, u_num=u_num, unit=unit,
                  note=f"{words}; half a cell at the choke",
                  source="two paraboloids, by hand")  # fmt: skip


def volume_rows() -> Iterator[Row]:
    circle = 0.5 * 96 * np.sin(2.0 * np.pi / 96)
    ring = m3.Manifold.revolve(m3.CrossSection.circle(8.0, 64).translate([30.0, 0.0]), 128)
    faces = 0.5 * 64 * np.sin(2.0 * np.pi / 64) * 8.0**2
    shapes = {
        "plate of 9 mm, turned": (box(81.3, 41.1, 9.0, turn=(45.0, 31.5, 13.5)), 81.3 * 41.1 * 9.0),
        "round bar, turned": (m3.Manifold.cylinder(77.0, 25.0, 25.0, 96, True).rotate((20.0, 14.0, 0.0)),
                              77.0 * circle * 25.0**2),
        # Pappus, with the area and the path of the polygons.
        "ring": (ring, faces * 30.0 * 128 * np.sin(2.0 * np.pi / 128)),
    }  # fmt: skip
    for name, (solid, right) in shapes.items():
        mesh = mesh_of(solid)
        values = [float(voxelise(mesh, spacing).volume_mm3) for spacing in (4.0, 2.0, 1.0)]
        u_num, words = grid_error(values)
        yield Row(GEOMETRY, "Volume of the voxels at 1 mm", name, values[-1], right, 0.002 * right, u_num=u_num,
                  unit="mm3", source="elementary geometry of the faceted solid", note=words)  # fmt: skip


def section_rows() -> Iterator[Row]:
    what = "Largest ball and equivalent wall in the middle"
    t = 12.0
    shapes = (
        ("plate, ball", box(130.0, 130.0, t, turn=(20.0, 14.0, 6.0)), 20.0, t, "section_mm"),
        ("plate, wall", box(130.0, 130.0, t, turn=(20.0, 14.0, 6.0)), 20.0, t, "wall_mm"),
        ("square bar of 24 mm, wall", box(24.0, 24.0, 160.0, turn=(20.0, 14.0, 6.0)), 40.0, 12.0, "wall_mm"),
        ("T of equal walls, ball 5/4 of the wall", box(150.0, 100.0, t) + box(t, 100.0, 80.0).translate((0, 0, 40)),
         0.3 * t, 1.25 * t, "section_mm"),
    )  # fmt: skip
    for name, solid, reach, right, field in shapes:
        mesh = mesh_of(solid)
        values = []
        for spacing in (4.0, 2.0, 1.0):
            grid = voxelise(mesh, spacing)
            measured = getattr(local_section(mesh, grid), field)
            values.append(float(np.median(measured[near(grid, max(reach, spacing))])))
        u_num, words = grid_error(values)
        yield Row(GEOMETRY, what, name, values[-1], right, 0.03 * right, u_num=u_num, unit="mm", note=words,
                  source="elementary geometry")  # fmt: skip


def zone_rows() -> Iterator[Row]:
    what = "Zones found from the shape: share of the metal in the zone the generator put it in (D = 1)"
    rng = np.random.default_rng(100)
    designs = {"demo wheel A": demo_a(), "demo wheel B": demo_b()}
    designs |= {f"random wheel {number}": random_design(rng) for number in (1, 2, 3)}
    for name, design in designs.items():
        shares = []
        for spacing in (4.0, 3.0):
            grid = voxelise(build_wheel(design), spacing)
            table = confusion(design, grid, find_zones(grid), np.eye(3), seed=1)
            shares.append(float(np.trace(table[:, 1:]) / table.sum()))
        # 20000 points: standard deviation of a share of 0.97.
        yield Row(GEOMETRY, what, name, shares[-1], 1.0, 0.05, u_num=abs(shares[1] - shares[0]), u_d=0.0012, unit="-",
                  kind="own generator", source="castq's own wheel generator: no outside value",
                  note="3 mm voxels, u_num: change from 4 mm")  # fmt: skip


def rows() -> list[Row]:
    """Return the lines of the feeding engine, the geometry and the zones."""
    return [line for part in (feeding_rows, volume_rows, section_rows, zone_rows) for line in part()]

"""Shapes for the tests of the solid solver, and a one-dimensional solution to hold them against."""

from __future__ import annotations

import functools
from dataclasses import replace

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

from castq import materials
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import Grid, rasterise
from castq.thermal.heat_table import heat_table, temperature_at_fraction

Array = NDArray[np.float64]

A356 = materials.alloy("A356")
H13 = materials.die_material("H13")
MELT_C, DIE_C, CONTACT, GAP, WALL_MM = 690.0, 350.0, 1500.0, 500.0, 20.0
POWER = {"plate": 0, "cylinder": 1, "sphere": 2}


def mesh_of(solid: m3.Manifold) -> Mesh:
    plain = solid.to_mesh64()
    return Mesh(np.asarray(plain.vert_properties)[:, :3].copy(), np.asarray(plain.tri_verts).astype(np.int64))


def grid_of(mesh: Mesh, spacing_mm: float, shift: float) -> Grid:
    """Return the voxels of a mesh, whose corners lie `shift` voxels off round numbers."""
    low, high = mesh.bounds
    origin = spacing_mm * (np.floor(low / spacing_mm) - 2.0 + shift * np.array([1.0, 0.6, 0.3]))
    nx, ny, nz = (int(count) for count in np.ceil((high - origin) / spacing_mm) + 2)
    return Grid(rasterise(mesh, origin, spacing_mm, (nx, ny, nz))[0], origin, spacing_mm)


@functools.cache
def radial(shape: str, half_mm: float, cell_mm: float = 0.5) -> tuple[Array, Array, Array]:
    """Return depth [mm], local solidification time and end of freezing [s] of an endless or round body in its die.

    Plain explicit finite volumes on fine shells, written apart from the solver.
    """
    n, m, dx = round(half_mm / cell_mm), round(WALL_MM / cell_mm), 1e-3 * cell_mm
    edge = np.arange(n + m + 1) * dx
    area, volume = edge ** POWER[shape], np.diff(edge ** (POWER[shape] + 1)) / (POWER[shape] + 1)
    table = heat_table(A356, np.ones(1), np.ones(1))
    lines = table.lines[0]
    knots = np.concatenate([[-4e9], table.bounds_j_m3[0, 1:-1], [4e9]])
    inner = np.vstack([lines[:1], lines[1:], lines[-1:]])
    potential, temp, k = (inner[:, c] + inner[:, c + 1] * knots for c in (0, 2, 4))
    heat, k_die = H13.density_kg_m3 * H13.cp_j_kgk, H13.k_w_mk
    step = 0.45 * dx**2 / (2.0 * max(lines[:, 1].max(), k_die / heat))
    h, die = np.full(n, float(table.start_j_m3(np.array([MELT_C]))[0])), np.full(m, DIE_C)
    events, levels = np.full((2, n), np.nan), (table.liquidus_j_m3[0], 0.0)
    film, switch, time = 1.0 / CONTACT, temperature_at_fraction(A356, 0.5), 0.0
    flux = np.zeros(n + m + 1)
    while np.isnan(events[1]).any():
        theta, skin = np.interp(h, knots, potential), np.interp(h[-1], knots, temp)
        half = 0.5 * dx / np.interp(h[-1], knots, k)
        out = (skin - die[0]) / (half + film + 0.5 * dx / k_die)
        if skin - out * half < switch:
            film = 1.0 / GAP
        flux[1:n], flux[n], flux[n + 1 : -1] = -np.diff(theta) / dx, out, -k_die * np.diff(die) / dx
        flux[-1] = (die[-1] - 100.0) / (1.0 / 200.0 + 0.5 * dx / k_die)
        change = -step * np.diff(flux * area) / volume
        for event, level in zip(events, levels, strict=True):
            now = np.isnan(event) & (h + change[:n] <= level)
            event[now] = time + step * (h[now] - level) / -change[:n][now]
        h, die, time = h + change[:n], die + change[n:] / heat, time + step
    return 1e3 * 0.5 * (edge[:n] + edge[1 : n + 1]), events[1] - events[0], events[1]


def turned_plate(wall_mm: float, degrees: float) -> Mesh:
    return mesh_of(m3.Manifold.cube([200.0, wall_mm, 60.0], True).rotate([0.0, 0.0, degrees]))


def wheel_without_valve() -> Mesh:
    from castq.geometry.wheel import build_wheel, demo_a

    return build_wheel(replace(demo_a(), valve_hole_mm=0.0))

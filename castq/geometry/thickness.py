"""Local section and equivalent wall from the largest balls that fit inside the surface.

At each sample of the surface the largest ball that touches it from inside is found against all other samples, and
against the plane of the one it touches, so the section does not depend on the voxel size. The casting modulus is the
volume over the cooled surface around a ball; a wall that has the same modulus as a plate is the equivalent wall.
"""

# Compiled kernels take plain arrays, each by itself.

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from castq.geometry.balls import Points, Samples, in_threads, inner_balls, surface_samples
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import FloatField, Grid

# Radius of the neighbourhood that gives the modulus, in ball diameters and, for thin walls, at least in voxels.
_NEIGHBOURHOOD = 1.25
_NEIGHBOURHOOD_VOXELS = 3.5
_THINNEST_SHARE = 0.005
_RESOLVED_CELLS = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class LocalSection:
    """Local thickness of a casting on its grid.

    Attributes
    ----------
    section_mm : float32 array (nx, ny, nz)
        Diameter of the largest ball inside the casting that covers the voxel [mm]; 0 outside the casting.
    wall_mm : float32 array (nx, ny, nz)
        Thickness of the plate with the same modulus, at most the section [mm]; 0 outside the casting.
    thinnest_mm : float
        Section that all but 0.5 % of the volume reach [mm].
    balls_n : int
        Number of balls used.
    notes : tuple of str
        What the user should know.
    """

    section_mm: FloatField
    wall_mm: FloatField
    thinnest_mm: float
    balls_n: int
    notes: tuple[str, ...]


def local_section(mesh: Mesh, grid: Grid) -> LocalSection:
    """Return section and equivalent wall of each voxel of a casting.

    Parameters
    ----------
    mesh : Mesh
        The casting, closed [mm].
    grid : Grid
        Its voxels, in the same place [mm].

    Returns
    -------
    LocalSection
        Section, wall, thinnest wall and notes.

    Raises
    ------
    InputError
        If no ball fits, because the surface is not closed.
    """
    samples = surface_samples(mesh, grid)
    centres, radii = inner_balls(samples, grid)
    moduli = _moduli(centres, radii, samples, grid)
    owner = np.full(grid.shape, -1, dtype=np.int32)
    _paint((centres - grid.origin_mm) / grid.spacing_mm, radii / grid.spacing_mm, grid.fraction, owner)
    _spread(grid.fraction, owner, np.flatnonzero((grid.fraction > 0.0) & (owner < 0)))
    section = np.append(2.0 * radii, 0.0).astype(np.float32)
    wall = np.minimum(section, np.append(2.0 * moduli, 0.0).astype(np.float32))
    owner[(owner < 0) & (grid.fraction > 0.0)] = len(radii) - 1
    section_field = section[owner]
    thinnest = _thinnest(section_field, grid.fraction)
    cells = thinnest / grid.spacing_mm
    notes = (
        (f"thinnest wall {thinnest:.1f} mm is below resolution: {cells:.1f} cells",) if cells < _RESOLVED_CELLS else ()
    )
    return LocalSection(section_field, wall[owner], thinnest, len(radii), notes)


def _moduli(centres: Points, radii: NDArray[np.float64], samples: Samples, grid: Grid) -> NDArray[np.float64]:
    """Return the modulus around each ball: volume over cooled surface [mm]."""
    h = grid.spacing_mm
    area = np.zeros(grid.shape, dtype=np.float32)
    _deposit((samples.points_mm - grid.origin_mm) / h - 0.5, area)
    around = np.maximum(2.0 * _NEIGHBOURHOOD * radii, _NEIGHBOURHOOD_VOXELS * h)
    ratio = np.zeros(len(radii))
    in_threads(_volume_over_area, len(radii), grid.fraction, area, (centres - grid.origin_mm) / h, around / h, ratio)
    return _without_window(ratio * h**3 / samples.area_mm2, 2.0 * radii, around)


def _without_window(
    raw_mm: NDArray[np.float64], diameter_mm: NDArray[np.float64], around_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the modulus freed of what the round neighbourhood cuts off [mm]: exact for ball, round bar and plate.

    Parameters
    ----------
    raw_mm : array
        Volume over surface inside the neighbourhood [mm].
    diameter_mm : array
        Diameter of the ball [mm].
    around_mm : array
        Radius of the neighbourhood [mm].

    Returns
    -------
    array
        Modulus [mm].

    Notes
    -----
    In a neighbourhood of radius R, in units of the diameter, a plate shows (R^2 - 1/12) / (R^2 - 1/4) of its modulus
    1/2, a round bar (R^3 - (R^2 - 1/4)^1.5) / (3/8 sqrt(R^2 - 1/4)) of its modulus 1/4, a ball all of its 1/6.
    Between these three the share is interpolated over the modulus shown.
    """
    r = around_mm / diameter_mm
    open_square = r**2 - 0.25
    plate = (r**2 - 1.0 / 12.0) / open_square
    bar = (r**3 - open_square**1.5) / (0.375 * np.sqrt(open_square))
    shown = raw_mm / diameter_mm
    to_bar = np.clip((shown - 1.0 / 6.0) / (0.25 * bar - 1.0 / 6.0), 0.0, 1.0)
    to_plate = np.clip((shown - 0.25 * bar) / (0.5 * plate - 0.25 * bar), 0.0, 1.0)
    return raw_mm / (1.0 + (bar - 1.0) * to_bar + (plate - bar) * to_plate)


def _thinnest(section: FloatField, fraction: FloatField) -> float:
    """Return the section that all but a small share of the volume reach [mm]."""
    metal = fraction > 0.0
    values, weights = section[metal], fraction[metal]
    order = np.argsort(values)
    below = np.cumsum(weights[order], dtype=np.float64)
    return float(values[order][np.searchsorted(below, _THINNEST_SHARE * below[-1])])


@njit(cache=True, nogil=True)
def _deposit(places, area):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Share each sample among the eight voxels around it."""
    for n in range(places.shape[0]):
        i, j, k = int(places[n, 0]), int(places[n, 1]), int(places[n, 2])
        x, y, z = places[n, 0] - i, places[n, 1] - j, places[n, 2] - k
        for a in range(2):
            for b in range(2):
                along = (x if a else 1.0 - x) * (y if b else 1.0 - y)
                area[i + a, j + b, k] += along * (1.0 - z)
                area[i + a, j + b, k + 1] += along * z


@njit(cache=True, nogil=True)
def _volume_over_area(first, last, fraction, area, centres, around, ratio):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store the sum of filled shares over that of surface samples within each neighbourhood, in voxels."""
    nx, ny, nz = fraction.shape
    for ball in range(first, last):
        x, y, z, r = centres[ball, 0] - 0.5, centres[ball, 1] - 0.5, centres[ball, 2] - 0.5, around[ball]
        volume, surface, out = 0.0, 0.0, r + 0.5
        for i in range(max(int(x - out) + 1, 0), min(int(x + out), nx - 1) + 1):
            for j in range(max(int(y - out) + 1, 0), min(int(y + out), ny - 1) + 1):
                across = (i - x) ** 2 + (j - y) ** 2
                if across >= out * out:
                    continue
                half = np.sqrt(out * out - across)
                for k in range(max(int(z - half) + 1, 0), min(int(z + half), nz - 1) + 1):
                    share = min(out - np.sqrt(across + (k - z) ** 2), 1.0)
                    volume += share * fraction[i, j, k]
                    surface += share * area[i, j, k]
        ratio[ball] = volume / max(surface, 1.0)


@njit(cache=True, nogil=True)
def _paint(centres, radii, fraction, owner):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Give each metal voxel the first ball, that is the largest, that covers its centre."""
    nx, ny, nz = fraction.shape
    for ball in range(radii.size):
        x, y, z, r = centres[ball, 0] - 0.5, centres[ball, 1] - 0.5, centres[ball, 2] - 0.5, radii[ball]
        for i in range(max(int(np.ceil(x - r)), 0), min(int(np.floor(x + r)), nx - 1) + 1):
            for j in range(max(int(np.ceil(y - r)), 0), min(int(np.floor(y + r)), ny - 1) + 1):
                across = r * r - (i - x) ** 2 - (j - y) ** 2
                if across < 0.0:
                    continue
                half = np.sqrt(across)
                for k in range(max(int(np.ceil(z - half)), 0), min(int(np.floor(z + half)), nz - 1) + 1):
                    if owner[i, j, k] < 0 and fraction[i, j, k] > 0.0:
                        owner[i, j, k] = ball


@njit(cache=True, nogil=True)
def _largest_neighbour(owner, i, j, k):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the largest ball among the neighbours of a voxel, or -1."""
    best = -1
    nx, ny, nz = owner.shape
    for a in range(max(i - 1, 0), min(i + 2, nx)):
        for b in range(max(j - 1, 0), min(j + 2, ny)):
            for c in range(max(k - 1, 0), min(k + 2, nz)):
                if owner[a, b, c] >= 0 and (best < 0 or owner[a, b, c] < best):
                    best = owner[a, b, c]
    return best


@njit(cache=True, nogil=True)
def _spread(fraction, owner, left):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Give metal voxels that no ball covers the ball of the nearest covered ones, layer by layer."""
    _, ny, nz = fraction.shape
    found = np.empty(left.size, np.int32)
    while left.size > 0:
        count = 0
        for n in range(left.size):
            voxel = left[n]
            found[n] = _largest_neighbour(owner, voxel // (ny * nz), voxel // nz % ny, voxel % nz)
        for n in range(left.size):
            voxel = left[n]
            if found[n] >= 0:
                owner[voxel // (ny * nz), voxel // nz % ny, voxel % nz] = found[n]
            else:
                left[count] = voxel
                count += 1
        if count == left.size:
            break
        left = left[:count]

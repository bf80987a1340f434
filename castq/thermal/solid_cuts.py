"""Loops over cut voxels and patches of surface, for the cells of the solid solver."""

# Compiled kernels take plain arrays, each by itself.

from __future__ import annotations

import numpy as np
from numba import njit

# Sums over the patches of a cell: area, area that looks along x, y and z, and area times the normal.
AREA, FACING, LOOKS, SUMS = 0, 1, 4, 7


@njit(cache=True, nogil=True)
def find_owners(mask, shape, wanted, reach, liking, inward, owner) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store for each wanted voxel the flat place of the nearest cell within reach, with a liking for one direction."""
    nx, ny, nz = shape
    for row in range(wanted.size):
        i, j, k = wanted[row] // (ny * nz), wanted[row] // nz % ny, wanted[row] % nz
        nearest = 1e30
        for a in range(max(i - reach, 0), min(i + reach, nx - 1) + 1):
            for b in range(max(j - reach, 0), min(j + reach, ny - 1) + 1):
                for c in range(max(k - reach, 0), min(k + reach, nz - 1) + 1):
                    if mask[(a * ny + b) * nz + c]:
                        along = (a - i) * inward[row, 0] + (b - j) * inward[row, 1] + (c - k) * inward[row, 2]
                        cost = (a - i) ** 2 + (b - j) ** 2 + (c - k) ** 2 - liking * along
                        if cost < nearest:
                            nearest = cost
                            owner[wanted[row]] = (a * ny + b) * nz + c


@njit(cache=True, nogil=True)
def gather(owner, share, volume) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add what each voxel holds to the volume of the cell that owns it."""
    for place in range(owner.size):
        if owner[place] >= 0 and share[place] > 0.0:
            volume[owner[place]] += share[place]


@njit(cache=True, nogil=True)
def sum_patches(slot, cell, area, turn, normals, sums) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add up area and direction of the patches of each cell, by its number; normals count turned about."""
    for n in range(cell.size):
        row = slot[cell[n]]
        sums[row, AREA] += area[n]
        for axis in range(3):
            sums[row, FACING + axis] += area[n] * normals[n, axis] ** 2
            sums[row, LOOKS + axis] += area[n] * normals[n, axis] * turn


@njit(cache=True, nogil=True)
def find_halves(shape, slot, shift, cell, points, normals, turn, half) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store how far the middle of each patch's cell lies from the patch, along its normal."""
    ny, nz = shape[1], shape[2]
    for n in range(cell.size):
        place, row = cell[n], slot[cell[n]]
        middle = (place // (ny * nz) + 0.5, place // nz % ny + 0.5, place % nz + 0.5)
        total = 0.0
        for axis in range(3):
            total += (points[n, axis] - middle[axis] - shift[row, axis]) * normals[n, axis]
        half[n] = turn * total


@njit(cache=True, nogil=True)
def join_patches(slot, casting, die, area, halves, head, following, first, sums) -> int:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add up the patches of each pair of cells, and store the first of them; return the number of pairs.

    The pairs of a casting cell are chained: `head` holds its last one, `following` the one before each.
    """
    found = 0
    for n in range(casting.size):
        row = slot[casting[n]]
        link = head[row]
        while link >= 0 and die[first[link]] != die[n]:
            link = following[link]
        if link < 0:
            link = found
            first[link], following[link], head[row] = n, head[row], link
            found += 1
        sums[link, 0] += area[n]
        sums[link, 1] += area[n] * halves[0, n]
        sums[link, 2] += area[n] * halves[1, n]
    return found


@njit(cache=True, nogil=True)
def weigh_faces(active, step, axis, full, bounds, volume, slot, sums, shift, weight) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store the weight of the face from each cell to the next along an axis, where that is a cell too."""
    for n in range(active.size):
        here, there = active[n], active[n] + step
        if volume[there] == 0.0:
            continue
        a, b = slot[here], slot[there]
        surface, facing, apart = 0.0, 0.0, 1.0
        if a >= 0:
            surface += sums[a, AREA]
            facing += sums[a, FACING + axis]
            apart -= shift[a, axis]
        if b >= 0:
            surface += sums[b, AREA]
            facing += sums[b, FACING + axis]
            apart += shift[b, axis]
        facing = facing / surface if surface > 0.0 else 1.0
        share = facing + (1.0 - facing) * 0.5 * (volume[here] + volume[there])
        exact = full * share / min(max(apart, bounds[0]), bounds[1])
        weight[here] = min(max(np.rint(exact), 1.0), bounds[2])


@njit(cache=True, nogil=True)
def ease(active, steps, most, volume, factor, weights) -> int:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Lower the faces of cells whose faces are heavy for their volume; return the number of such cells."""
    x, y, z = weights
    heavy = 0
    for place in active:
        total = (float(x[place]) + x[place - steps[0]] + y[place] + y[place - steps[1]] + z[place]
                 + z[place - steps[2]])  # fmt: skip
        factor[place] = min(1.0, most * volume[place] / total) if total > 0.0 else 1.0
        heavy += factor[place] < 1.0
    for place in active:
        x[place] = np.floor(x[place] * min(factor[place], factor[place + steps[0]]))
        y[place] = np.floor(y[place] * min(factor[place], factor[place + steps[1]]))
        z[place] = np.floor(z[place] * min(factor[place], factor[place + steps[2]]))
    return heavy


@njit(cache=True, nogil=True)
def find_places(points, normals, ahead, shape, place) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store the flat place of the voxel that holds each point, a way ahead along its normal."""
    for n in range(points.shape[0]):
        flat = 0
        for axis in range(3):
            cell = int(np.floor(points[n, axis] + ahead * normals[n, axis]))
            flat = flat * shape[axis] + min(max(cell, 0), shape[axis] - 1)
        place[n] = flat


@njit(cache=True, nogil=True)
def find_inward(row, touched, normals, turn, inward) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store the mean direction, turned about, of the patches in each voxel of a list."""
    for n in range(touched.size):
        if row[touched[n]] >= 0:
            for axis in range(3):
                inward[row[touched[n]], axis] += turn * normals[n, axis]
    for n in range(inward.shape[0]):
        length = np.sqrt(inward[n, 0] ** 2 + inward[n, 1] ** 2 + inward[n, 2] ** 2)
        for axis in range(3):
            inward[n, axis] /= max(length, 1e-30)


@njit(cache=True, nogil=True)
def find_depths(nearest, depth) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store how far each voxel is from the one named as its nearest, in voxels."""
    for i in range(depth.shape[0]):
        for j in range(depth.shape[1]):
            for k in range(depth.shape[2]):
                x, y, z = nearest[0, i, j, k] - i, nearest[1, i, j, k] - j, nearest[2, i, j, k] - k
                depth[i, j, k] = np.sqrt(float(x * x + y * y + z * z))


@njit(cache=True, nogil=True)
def find_outer(places, shape, die, inside, depth, area) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store the outer area of each die voxel: its depth grows across a face by the share that looks that way."""
    steps = (shape[1] * shape[2], shape[2], 1)
    for here in places:
        for axis in range(3):
            for side in range(-1, 2, 2):
                there = here + side * steps[axis]
                if inside[there] and not die[there]:
                    area[here] += min(max(depth[there] - depth[here], 0.0), 1.0)

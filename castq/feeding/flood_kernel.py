"""The inner loop of the feeding engine: cells enter in falling order of cut-off time and join the pools they touch.

Seen backwards in time a pool is born at its last place to freeze, grows, and meets its neighbour at the cell that later
chokes it. Cells of equal time enter together, as one level, so that their order does not matter. Beside the pools a
tree of ways is kept: each cell points to the next one on the way whose earliest-closing cell closes last; when a pool
meets its neighbour, its ways are turned towards the choke.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

Ints = NDArray[np.int32]
Floats = NDArray[np.float32]
Doubles = NDArray[np.float64]

# Columns of a cell: its link in the union-find; pool and state of its component, kept at the component's root; next
# cell on its way; pool it entered, -1 when that was fed; and, during a level, place in the list of components touched,
# and best of these and first feeder cell in the new component, kept at its root.
LINK, POOL, FED, NEXT, BRANCH, SEAT, BEST, SOURCE = range(8)
CELL_COLUMNS = 8
# Columns of a pool: its last cell to freeze; the pool it parts from (-1: the feeder); the cell that chokes it; the cell
# beyond the choke.
PEAK, INTO, CHOKE, TOWARD = range(4)
POOL_COLUMNS = 4
# Columns of a component that a level touches: its root, pool and state, the cell of the level and the cell of its own
# where its way goes on, and whether it is known how.
ROOT, ITS_POOL, IS_FED, AT, BESIDE, REACHED = range(6)
TOUCHED_COLUMNS = 6
OPEN, FOUND, KNOWN = range(3)


class Work(NamedTuple):
    """What the kernel works on.

    Attributes
    ----------
    near : int32 array (cells, 6)
        Neighbours of each cell, -1 where there is none.
    time : float32 array (cells,)
        Cut-off time [s].
    feeder : bool array (cells,)
        Cells that stand on the feeder.
    size : float64 array (cells,)
        Volume of each cell, and at the root of a component that of the component [-].
    cells : int32 array (cells, CELL_COLUMNS)
        State of each cell.
    pools : int32 array (pools, POOL_COLUMNS)
        Pools in order of birth.
    ends : float64 array (pools, 2)
        Time at which each pool is cut off [s], and its volume then [-].
    touched : int32 array (n, TOUCHED_COLUMNS)
        Components that the level touches.
    touched_size : float64 array (n,)
        Their volumes [-].
    pairs : int32 array (n, 3)
        Cell of the level, neighbour already there, place of its component in `touched`.
    queue : int32 array (n,)
        Cells of the level whose way is known.
    """

    near: Ints
    time: Floats
    feeder: NDArray[np.bool_]
    size: Doubles
    cells: Ints
    pools: Ints
    ends: Doubles
    touched: Ints
    touched_size: Doubles
    pairs: Ints
    queue: Ints


@njit(cache=True, nogil=True)
def neighbours(flat: NDArray[np.int64], number: Ints, ny: int, nz: int) -> Ints:
    """Return the six neighbours of each cell, -1 where there is none.

    Parameters
    ----------
    flat : int64 array (cells,)
        Place of each cell in the grid, read row by row [-].
    number : int32 array (nx * ny * nz,)
        Number of the cell at each place, -1 where there is none [-].
    ny, nz : int
        Cells of the grid along y and z [-].

    Returns
    -------
    int32 array (cells, 6)
        Numbers of the neighbours along -x, +x, -y, +y, -z, +z [-].
    """
    near = np.full((flat.size, 6), -1, np.int32)
    row = ny * nz
    for c in range(flat.size):
        here = flat[c]
        if here >= row:
            near[c, 0] = number[here - row]
        if here + row < number.size:
            near[c, 1] = number[here + row]
        j, k = here % row // nz, here % nz
        if j > 0:
            near[c, 2] = number[here - nz]
        if j < ny - 1:
            near[c, 3] = number[here + nz]
        if k > 0:
            near[c, 4] = number[here - 1]
        if k < nz - 1:
            near[c, 5] = number[here + 1]
    return near


@njit(cache=True, nogil=True)
def _root(cells: Ints, c: int) -> int:
    """Return the root of a cell's component, halving the chain on the way."""
    while cells[c, LINK] != c:
        cells[c, LINK] = cells[cells[c, LINK], LINK]
        c = cells[c, LINK]
    return c


@njit(cache=True, nogil=True)
def _unite(cells: Ints, size: Doubles, a: int, b: int) -> None:
    """Make one component of two."""
    a, b = _root(cells, a), _root(cells, b)
    if a == b:
        return
    if size[a] < size[b]:
        a, b = b, a
    cells[b, LINK] = a
    size[a] += size[b]


@njit(cache=True, nogil=True)
def _touch(work: Work, level: Ints) -> tuple[int, int]:
    """List the components that a level touches, as they are before it enters; return how many, and pairs of cells."""
    cells, touched, now = work.cells, work.touched, work.time[level[0]]
    count, pairs = 0, 0
    for c in level:
        cells[c, LINK] = c
        for side in range(6):
            n = work.near[c, side]
            if n < 0 or not work.time[n] > now:
                continue
            root = _root(cells, n)
            u = cells[root, SEAT]
            if u < 0:
                u = cells[root, SEAT] = count
                touched[u, ROOT], touched[u, ITS_POOL], touched[u, IS_FED] = root, cells[root, POOL], cells[root, FED]
                touched[u, AT], touched[u, BESIDE] = c, n
                work.touched_size[u] = work.size[root]
                count += 1
            elif work.time[n] > work.time[touched[u, BESIDE]]:
                touched[u, AT], touched[u, BESIDE] = c, n
            work.pairs[pairs, 0], work.pairs[pairs, 1], work.pairs[pairs, 2] = c, n, u
            pairs += 1
    return count, pairs


@njit(cache=True, nogil=True)
def _join(work: Work, level: Ints, count: int, pairs: int) -> None:
    """Unite the cells of a level with each other and with what they touch; clear the new components' marks."""
    cells, now = work.cells, work.time[level[0]]
    for p in range(pairs):
        _unite(cells, work.size, work.pairs[p, 0], work.pairs[p, 1])
    if level.size > 1:
        for c in level:
            for side in range(1, 6, 2):
                n = work.near[c, side]
                if n >= 0 and work.time[n] == now:
                    _unite(cells, work.size, c, n)
    for u in range(count):
        cells[work.touched[u, ROOT], SEAT] = -1
    for c in level:
        root = _root(cells, c)
        cells[root, BEST] = cells[root, SOURCE] = cells[root, POOL] = -1
        cells[root, FED] = 0


@njit(cache=True, nogil=True)
def _outlasts(work: Work, u: int, v: int) -> bool:
    """Return whether a touched component keeps its name against another: fed, freezing last, larger, first born."""
    a, b = work.touched[u], work.touched[v]
    if a[IS_FED] != b[IS_FED]:
        return a[IS_FED] > b[IS_FED]
    last_a, last_b = work.time[work.pools[a[ITS_POOL], PEAK]], work.time[work.pools[b[ITS_POOL], PEAK]]
    if last_a != last_b:
        return last_a > last_b
    if work.touched_size[u] != work.touched_size[v]:
        return work.touched_size[u] > work.touched_size[v]
    return a[ITS_POOL] < b[ITS_POOL]


@njit(cache=True, nogil=True)
def _settle(work: Work, level: Ints, count: int, pools: int) -> int:
    """Name the new components, close the pools that lose their name to a neighbour; return the number of pools."""
    cells, touched = work.cells, work.touched
    for c in level:
        if work.feeder[c]:
            root = _root(cells, c)
            cells[root, FED] = 1
            if cells[root, SOURCE] < 0:
                cells[root, SOURCE] = c
    for u in range(count):
        root = _root(cells, touched[u, ROOT])
        best = cells[root, BEST]
        if best < 0 or _outlasts(work, u, best):
            cells[root, BEST] = u
    for u in range(count):
        root = _root(cells, touched[u, ROOT])
        best = cells[root, BEST]
        cells[root, POOL] = touched[best, ITS_POOL]
        cells[root, FED] = max(cells[root, FED], touched[best, IS_FED])
    for c in level:
        root = _root(cells, c)
        if cells[root, POOL] < 0:
            work.pools[pools, PEAK] = c
            cells[root, POOL] = pools
            pools += 1
        cells[c, BRANCH] = -1 if cells[root, FED] else cells[root, POOL]
    return pools


@njit(cache=True, nogil=True)
def _close(work: Work, now: float, count: int) -> None:
    """Write down the pools that a level closes, and turn their ways towards the choke."""
    cells, touched = work.cells, work.touched
    for u in range(count):
        root = _root(cells, touched[u, ROOT])
        best, fed = cells[root, BEST], cells[root, FED]
        if touched[u, IS_FED] or (u == best and not fed):
            continue
        pool, beyond = touched[u, ITS_POOL], touched[best, BESIDE]
        work.pools[pool, INTO] = -1 if fed else touched[best, ITS_POOL]
        work.pools[pool, CHOKE] = touched[u, AT]
        work.pools[pool, TOWARD] = beyond if touched[best, IS_FED] or not fed else cells[root, SOURCE]
        work.ends[pool, 0], work.ends[pool, 1] = now, work.touched_size[u]
        previous, c = touched[u, AT], touched[u, BESIDE]
        while True:
            following = cells[c, NEXT]
            cells[c, NEXT] = previous
            if following == c:
                break
            previous, c = c, following


@njit(cache=True, nogil=True)
def _seed(work: Work, level: Ints, count: int) -> int:
    """Mark where the ways of a level end: feeder cells, a pool just born, components that keep their name."""
    cells, touched = work.cells, work.touched
    known = 0
    for c in level:
        root = _root(cells, c)
        born = cells[root, BEST] < 0 and not cells[root, FED] and work.pools[cells[root, POOL], PEAK] == c
        if work.feeder[c] or born:
            cells[c, NEXT] = c
            work.queue[known] = c
            known += 1
    for u in range(count):
        root = _root(cells, touched[u, ROOT])
        leads_on = touched[u, IS_FED] if cells[root, FED] else u == cells[root, BEST]
        touched[u, REACHED] = KNOWN if leads_on else OPEN
    return known


@njit(cache=True, nogil=True)
def _enter(work: Work, pairs: int, known: int) -> int:
    """Point cells without a way into the latest neighbour whose way is known; return how many cells have one."""
    cells, fresh = work.cells, -1
    for p in range(pairs):
        c, n, u = work.pairs[p, 0], work.pairs[p, 1], work.pairs[p, 2]
        if work.touched[u, REACHED] != KNOWN:
            continue
        if cells[c, NEXT] < 0:
            cells[c, NEXT] = n
            work.queue[known] = fresh = c
            known += 1
        elif c == fresh and work.time[n] > work.time[cells[c, NEXT]]:
            cells[c, NEXT] = n
    return known


@njit(cache=True, nogil=True)
def _reach(work: Work, count: int, pairs: int) -> None:
    """Find for components whose way is open the cell of the level through which it goes on."""
    touched = work.touched
    for p in range(pairs):
        c, n, u = work.pairs[p, 0], work.pairs[p, 1], work.pairs[p, 2]
        if work.cells[c, NEXT] < 0 or touched[u, REACHED] == KNOWN:
            continue
        if touched[u, REACHED] == OPEN or work.time[n] > work.time[touched[u, BESIDE]]:
            touched[u, REACHED], touched[u, AT], touched[u, BESIDE] = FOUND, c, n
    for u in range(count):
        if touched[u, REACHED] == FOUND:
            touched[u, REACHED] = KNOWN


@njit(cache=True, nogil=True)
def _route(work: Work, level: Ints, count: int, pairs: int) -> None:
    """Point each cell of a level to the next one on its way, nearest first inside the level."""
    cells, now = work.cells, work.time[level[0]]
    known, done = _seed(work, level, count), 0
    while True:
        known = _enter(work, pairs, known)
        while done < known:
            c = work.queue[done]
            done += 1
            for side in range(6):
                n = work.near[c, side]
                if n >= 0 and work.time[n] == now and cells[n, NEXT] < 0:
                    cells[n, NEXT] = c
                    work.queue[known] = n
                    known += 1
        _reach(work, count, pairs)
        if known == level.size:
            break


@njit(cache=True, nogil=True)
def flood_cells(work: Work, order: Ints) -> int:
    """Let all cells enter and return the number of pools.

    Parameters
    ----------
    work : Work
        Filled as `castq.feeding.flood` does.
    order : int32 array (cells,)
        Cells in falling order of time [-].

    Returns
    -------
    int
        Pools born, noise and all [-]; one that is never cut off keeps a time of NaN, one never fed has 0.
    """
    pools, first = 0, 0
    while first < order.size:
        last = first + 1
        while last < order.size and work.time[order[last]] == work.time[order[first]]:
            last += 1
        level = order[first:last]
        count, pairs = _touch(work, level)
        _join(work, level, count, pairs)
        pools = _settle(work, level, count, pools)
        _route(work, level, count, pairs)
        _close(work, work.time[order[first]], count)
        first = last
    for c in range(order.size):
        if work.cells[c, LINK] == c and not work.cells[c, FED]:
            work.ends[work.cells[c, POOL], 0], work.ends[work.cells[c, POOL], 1] = 0.0, work.size[c]
    return pools

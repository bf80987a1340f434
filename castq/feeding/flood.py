"""One ordered pass over a field of cut-off times: pools, what parts them, and the way of each cell to the feeder.

At any time the cells whose cut-off time lies later can still pass metal. A pool is a connected region of these that
touches no feeder cell. Times are exact, since pools can only change at the time of some cell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import input_error
from castq.feeding import flood_kernel as kernel

Array = NDArray[np.float64]
Ints = NDArray[np.int32]


@dataclass(frozen=True, slots=True, eq=False)
class Flood:
    """Pools and ways of a casting, cells numbered in the order of the grid, pools in falling order of their last time.

    Attributes
    ----------
    shape : tuple of int
        Cells of the grid along x, y and z [-].
    spacing_mm : float
        Edge of a cell [mm].
    flat : int64 array (cells,)
        Place of each cell in the grid, read row by row [-].
    cutoff_s : float32 array (cells,)
        Cut-off time [s].
    volume_mm3 : float64 array (cells,)
        Metal in each cell [mm3].
    feeder : bool array (cells,)
        Cells that stand on the feeder.
    following : int32 array (cells,)
        Next cell on the way to the feeder; the cell itself where the way ends [-].
    branch : int32 array (cells,)
        Pool that the cell belongs to as it closes, noise included; -1 when it is still fed [-].
    peak, into, choke, toward : int32 array (pools,)
        Last cell to freeze, pool it parts from (-1 for the feeder), cell that chokes it and cell beyond the choke; the
        last two are -1 where metal never had a way to the feeder [-].
    cut_s, cut_volume_mm3 : float64 array (pools,)
        When it is cut off [s], and its metal then [mm3]; NaN and 0 for a pool that stays fed.
    """

    shape: tuple[int, int, int]
    spacing_mm: float
    flat: NDArray[np.int64]
    cutoff_s: NDArray[np.float32]
    volume_mm3: Array
    feeder: NDArray[np.bool_]
    following: Ints
    branch: Ints
    peak: Ints
    into: Ints
    choke: Ints
    toward: Ints
    cut_s: Array
    cut_volume_mm3: Array

    def on_grid(self, values: NDArray[np.generic], fill: float = np.nan) -> NDArray[np.generic]:
        """Return values of the cells as a field on the grid.

        Parameters
        ----------
        values : array (cells,)
            One value a cell.
        fill : float
            Value outside the metal.

        Returns
        -------
        array (nx, ny, nz)
            In the type of the values.
        """
        field = np.full(self.shape, fill, dtype=values.dtype)
        field.ravel()[self.flat] = values
        return field

    def place(self, cell: int) -> tuple[int, int, int]:
        """Return the indices of a cell along x, y and z [-]."""
        i, j, k = np.unravel_index(int(self.flat[cell]), self.shape)
        return int(i), int(j), int(k)

    def number(self, place: tuple[int, int, int]) -> int:
        """Return the number of the cell at indices along x, y and z; -1 where there is no metal [-]."""
        flat = int(np.ravel_multi_index(place, self.shape))
        found = int(np.searchsorted(self.flat, flat))
        return found if found < self.flat.size and self.flat[found] == flat else -1


def flood(
    cutoff_s: NDArray[np.float32],
    feeder: NDArray[np.bool_],
    *,
    spacing_mm: float,
    fraction: NDArray[np.float32] | None = None,
    source: str = "cut-off times",
) -> Flood:
    """Return pools and ways of a field of cut-off times; cells are neighbours across a face.

    Parameters
    ----------
    cutoff_s : float32 array (nx, ny, nz)
        Time at which a cell stops passing feed metal [s]; NaN outside the metal; infinite is allowed for feeder cells.
    feeder : bool array (nx, ny, nz)
        Cells that metal is fed into from outside for as long as they are open themselves.
    spacing_mm : float
        Edge of a cell [mm].
    fraction : float32 array (nx, ny, nz), optional
        Share of each cell that is metal [-]; all of it when not given.
    source : str
        What the times come from, for error messages.

    Returns
    -------
    Flood
        What `find_islands` and `feeding_paths` read.

    Raises
    ------
    InputError
        If a time is not positive, infinite away from the feeder, or no metal stands on the feeder.
    """
    times = np.ascontiguousarray(cutoff_s, dtype=np.float32).ravel()
    flat = np.flatnonzero(~np.isnan(times))
    time, gate = times[flat], feeder.ravel()[flat]
    _check(time, gate, source)
    metal = np.ones(flat.size) if fraction is None else fraction.ravel()[flat].astype(float)
    number = np.full(times.size, -1, dtype=np.int32)
    number[flat] = np.arange(flat.size, dtype=np.int32)
    near = kernel.neighbours(flat, number, cutoff_s.shape[1], cutoff_s.shape[2])
    work, pools = _run(near, time, gate, metal)
    nx, ny, nz = cutoff_s.shape
    voxel = spacing_mm**3
    return Flood(
        shape=(nx, ny, nz),
        spacing_mm=spacing_mm,
        flat=flat,
        cutoff_s=time,
        volume_mm3=metal * voxel,
        feeder=gate,
        following=work.cells[:, kernel.NEXT].copy(),
        branch=work.cells[:, kernel.BRANCH].copy(),
        peak=work.pools[:pools, kernel.PEAK].copy(),
        into=work.pools[:pools, kernel.INTO].copy(),
        choke=work.pools[:pools, kernel.CHOKE].copy(),
        toward=work.pools[:pools, kernel.TOWARD].copy(),
        cut_s=work.ends[:pools, 0].copy(),
        cut_volume_mm3=work.ends[:pools, 1] * voxel,
    )


def _check(time: NDArray[np.float32], gate: NDArray[np.bool_], source: str) -> None:
    """Refuse times that mean nothing and a casting without a feeder."""
    if not (time > 0.0).all():
        raise input_error(
            source, "", f"{int((~(time > 0.0)).sum())} cells have a time of zero or less", "times above 0 s",
            "set them to NaN where there is no metal",
        )  # fmt: skip
    if np.isinf(time[~gate]).any():
        raise input_error(
            source,
            "",
            "metal away from the feeder never closes",
            "a finite time",
            "let the solver run until all is solid",
        )
    if not gate.any():
        raise input_error(
            source, "feeder", "no metal stands on the feeder", "one cell or more", "move the gate or feeder"
        )


def _run(near: Ints, time: NDArray[np.float32], gate: NDArray[np.bool_], metal: Array) -> tuple[kernel.Work, int]:
    """Run the kernel and return its arrays and the number of pools."""
    order = np.argsort(-time, kind="stable").astype(np.int32)
    level = int(np.diff(np.flatnonzero(np.diff(time[order], prepend=np.nan, append=np.nan) != 0.0)).max())
    count = time.size
    work = kernel.Work(
        near=near,
        time=time,
        feeder=gate,
        size=metal.copy(),
        cells=np.full((count, kernel.CELL_COLUMNS), -1, dtype=np.int32),
        pools=np.full((count, kernel.POOL_COLUMNS), -1, dtype=np.int32),
        ends=np.column_stack([np.full(count, np.nan), np.zeros(count)]),
        touched=np.empty((6 * level, kernel.TOUCHED_COLUMNS), dtype=np.int32),
        touched_size=np.empty(6 * level),
        pairs=np.empty((6 * level, 3), dtype=np.int32),
        queue=np.empty(level, dtype=np.int32),
    )
    return work, kernel.flood_cells(work, order)

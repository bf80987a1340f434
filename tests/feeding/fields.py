"""Small fields of cut-off times (SYNTHETIC), and slow ways to the same answers."""

import numpy as np
from scipy.ndimage import label

from castq.feeding.flood import flood


def line(*times, feeder=(0,)):
    """Return a row of cells along x and where it stands on the feeder."""
    cutoff = np.array(times, dtype=np.float32)[:, None, None]
    gate = np.zeros(cutoff.shape, dtype=bool)
    gate[list(feeder)] = True
    return cutoff, gate


def line_flood(*times, feeder=(0,)):
    cutoff, gate = line(*times, feeder=feeder)
    return flood(cutoff, gate, spacing_mm=1.0)


def random_field(seed, shape, levels):
    """Return times with few levels, so that many are equal, some void, and feeder cells in a corner."""
    rng = np.random.default_rng(seed)
    cutoff = rng.integers(1, levels + 1, shape).astype(np.float32)
    cutoff[rng.random(shape) < 0.15] = np.nan
    gate = np.zeros(shape, dtype=bool)
    gate[0, 0] = True
    cutoff[0, 0, 0] = levels
    return cutoff, gate & ~np.isnan(cutoff)


def cut_off_at(cutoff, gate, time):
    """Return the cells that are open at a time in a component without an open feeder cell, by labelling."""
    still_open = np.nan_to_num(cutoff, nan=-1.0) > time
    numbers, _ = label(still_open)
    fed = np.unique(numbers[gate & still_open])
    return still_open & ~np.isin(numbers, fed)


def slowest_choke(cutoff, gate):
    """Return the latest time at which a way of each cell closes, by relaxing until nothing changes."""
    time = np.pad(np.nan_to_num(cutoff, nan=0.0), 1)
    closes = np.where(np.pad(gate, 1), time, 0.0)
    while True:
        best = closes.copy()
        for axis in range(3):
            for step in (-1, 1):
                best = np.maximum(best, np.minimum(time, np.roll(closes, step, axis)))
        if np.array_equal(best, closes):
            return closes[1:-1, 1:-1, 1:-1]
        closes = best

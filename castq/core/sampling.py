"""Seeded draws for the uncertainty of the chain: one scrambled Sobol dimension for each uncertain quantity."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Draws = dict[str, NDArray[np.float64]]


def normal_draws(names: Sequence[str], count: int, seed: int) -> Draws:
    """Return standard-normal draws for each name.

    The same names, count and seed give the same draws, whatever they are used for: two designs drawn this way
    share their errors, so that the shared part cancels in their difference.

    Parameters
    ----------
    names : sequence of str
        Names of the uncertain quantities; order does not matter.
    count : int
        Number of draws, a power of two keeps the sequence balanced.
    seed : int
        Seed of the scrambling.

    Returns
    -------
    dict of name to array (count,)
        Standard-normal values [-].
    """
    from scipy.special import ndtri
    from scipy.stats import qmc

    ordered = sorted(set(names))
    if not ordered or count < 1:
        return {name: np.zeros(count) for name in ordered}
    engine = qmc.Sobol(d=len(ordered), scramble=True, rng=np.random.default_rng(seed))
    exponent = int(np.ceil(np.log2(count)))
    uniform = engine.random_base2(exponent)[:count]
    tiny = 0.5 / 2**exponent
    values = ndtri(np.clip(uniform, tiny, 1.0 - tiny))
    return {name: np.ascontiguousarray(values[:, i]) for i, name in enumerate(ordered)}

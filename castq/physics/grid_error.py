"""How far a result on a grid may be from that on an infinitely fine one."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, relation

# Orders of convergence outside these are an accident of the two grids.
ORDERS = (0.5, 2.0)
# Factor of safety when only two grids are known.
TWO_GRIDS = 3.0


@relation(
    id="grid-convergence-index",
    title="Grid convergence index",
    source="Roache 1994, Journal of Fluids Engineering 116:405; factor of safety 3 for two grids",
    provenance="memory",
    band=EXACT,
)
def grid_convergence_index(
    fine: ArrayLike, coarse: ArrayLike, ratio: ArrayLike, order: ArrayLike = 1.0, safety: ArrayLike = TWO_GRIDS
) -> NDArray[np.float64]:
    """Return the estimated error of the fine grid, with its factor of safety, over the fine grid's value.

    Parameters
    ----------
    fine, coarse : array_like
        Result on the fine and on the coarse grid, any unit [-].
    ratio : array_like
        Spacing of the coarse grid over that of the fine one, above 1 [-].
    order : array_like
        Order of convergence; held between 0.5 and 2 [-].
    safety : array_like
        Factor of safety [-].

    Returns
    -------
    array
        Index [-]: safety |coarse - fine| / (fine (ratio^order - 1)).

    Notes
    -----
    Two grids cannot show their order: it is then an assumption, 1 for a moving front on cut cells.
    """
    value = np.asarray(fine, dtype=float)
    change = np.abs(np.asarray(coarse, dtype=float) - value)
    power = np.asarray(ratio, dtype=float) ** np.clip(np.asarray(order, dtype=float), *ORDERS)
    return np.asarray(safety, dtype=float) * change / (np.abs(value) * (power - 1.0))

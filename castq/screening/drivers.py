"""What drives the uncertainty: how much of each prediction's variance each uncertain input carries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from castq.core.sampling import Draws
from castq.screening.types import Driver, Section

EXPLAINED: tuple[str, ...] = (
    "local_solidification_time_s", "sdas_um", "porosity_pct", "elongation_pct", "uts_mpa", "fatigue_strength_mpa",
)  # fmt: skip
SMALLEST_SHARE = 0.02


def _ranks(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return centred ranks of each row, scaled to unit length."""
    ranks = np.argsort(np.argsort(values, axis=1), axis=1).astype(float)
    ranks -= ranks.mean(axis=1, keepdims=True)
    return np.asarray(ranks / np.linalg.norm(ranks, axis=1, keepdims=True))


def drivers_of(
    sections: Sequence[Section], samples: Mapping[str, NDArray[np.float64]], draws: Draws
) -> tuple[Driver, ...]:
    """Return the inputs that carry the variance of each explained quantity, zone by zone, largest first.

    The share is the squared rank correlation with the input's draws, scaled so that the shares of one quantity add up
    to one; shares under 2 % are left out.

    Parameters
    ----------
    sections : sequence of Section
        The zones.
    samples : mapping of quantity to array (zones, draws)
        The draws behind the table.
    draws : dict of name to array (draws,)
        The draws of the uncertain inputs.
    """
    names = [name for name in draws if np.ptp(draws[name]) > 0.0]
    if not names:
        return ()
    inputs = _ranks(np.stack([draws[name] for name in names]))
    found = []
    for quantity in EXPLAINED:
        values = samples[quantity]
        varies = np.isfinite(values).all(axis=1) & (np.ptp(values, axis=1) > 0)
        for row in np.flatnonzero(varies).tolist():
            shares = (inputs @ _ranks(values[row : row + 1])[0]) ** 2
            shares /= shares.sum()
            order = np.argsort(-shares)
            found += [
                Driver(sections[row].zone, quantity, names[i], float(shares[i]))
                for i in order
                if shares[i] >= SMALLEST_SHARE
            ]
    return tuple(found)

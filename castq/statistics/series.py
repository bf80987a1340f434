"""What the charts and studies take in: rows of finite numbers, long enough to say something."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.errors import input_error

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


def numbers(values: ArrayLike, what: str, least: int = 2) -> Array:
    """Return a row of values as floats, or refuse it in one sentence.

    Parameters
    ----------
    values : array_like
        The values in their order [any unit].
    what : str
        What they belong to, for the sentence.
    least : int
        Fewest values that will do [-].

    Returns
    -------
    array
        The values [same unit].
    """
    array = np.asarray(values, dtype=float)
    if array.ndim != 1 or len(array) < least:
        raise input_error(what, "values", f"{array.size} values", f"a row of at least {least}", "take more samples")
    bad = np.flatnonzero(~np.isfinite(array))
    if len(bad):
        place = f"value {bad[0] + 1}"
        raise input_error(what, place, "is not a finite number", "", "leave rows without a value out")
    return array


def positive(value: float, what: str, name: str) -> float:
    """Return a number above zero, or refuse it in one sentence.

    Parameters
    ----------
    value : float
        The number [any unit].
    what, name : str
        What it belongs to and how it is called, for the sentence.

    Returns
    -------
    float
        The number [same unit].
    """
    if not (np.isfinite(value) and value > 0.0):
        raise input_error(what, name, f"{value:g} cannot be", "a number above 0", "check the value")
    return float(value)

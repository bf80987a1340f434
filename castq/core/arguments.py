"""Checks on arguments at the public edges of castq: each names the argument, its value and the limit."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.errors import input_error


def check_finite(name: str, value: ArrayLike, source: str = "argument") -> NDArray[np.float64]:
    """Return `value` as a float array; raise `InputError` if any element is NaN or infinite."""
    array = np.asarray(value, dtype=float)
    if not np.all(np.isfinite(array)):
        raise input_error(source, name, "a value is not finite", "finite numbers", "replace NaN and infinite values")
    return array


def check_range(
    name: str, value: ArrayLike, low: float, high: float, unit: str, source: str = "argument"
) -> NDArray[np.float64]:
    """Return `value` as a float array; raise `InputError` if any element lies outside low .. high [unit]."""
    array = check_finite(name, value, source)
    bad = (array < low) | (array > high)
    if np.any(bad):
        first = float(array[bad].flat[0])
        raise input_error(
            source,
            name,
            f"{first:g} {unit} is out of range",
            f"{low:g} to {high:g} {unit}",
            "check the value and its unit",
        )
    return array

"""From samples as a log keeps them, pairs and readings in lists, to rows that are charted or studied."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from castq.core.errors import input_error
from castq.physics.density_index import density_index

if TYPE_CHECKING:
    from pandas import DataFrame

PAIR_FIELDS = ("in_air_g_cm3", "in_vacuum_g_cm3", "test_pressure_mbar")


def _parts(frame: DataFrame, column: str, names: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    """Return for every part its row and its values; nothing where the column is missing."""
    if column not in frame.columns:
        return np.zeros(0, dtype=int), np.zeros((0, len(names)))
    lists: list[Sequence[Mapping[str, Any]]] = [
        x if isinstance(x, list | tuple) else () for x in frame[column].tolist()
    ]
    try:
        values = [[part[name] for name in names] for parts in lists for part in parts]
        table = np.array(values, dtype=float).reshape(len(values), len(names))
    except (KeyError, TypeError, ValueError):
        raise input_error(
            "samples", column, "a part lacks a value or holds none", ", ".join(names), "correct the row"
        ) from None
    return np.repeat(np.arange(len(frame)), [len(parts) for parts in lists]), table


def chart_rows(frame: DataFrame) -> DataFrame:
    """Return samples with their mean density index, its test pressure and their mean hydrogen reading.

    Parameters
    ----------
    frame : DataFrame
        One row a sample, with `pairs` (lists of densities [g/cm3] and test pressure [mbar]) or `readings` (lists of
        hydrogen [ml/100g]) or both, beside the columns that `chart_samples` wants.

    Returns
    -------
    DataFrame
        The same rows with `density_index_pct` [%], `test_pressure_mbar` [mbar] and `hydrogen_ml_100g` [ml/100g]; NaN
        where not measured. Pairs of one sample at different pressures give none.
    """
    row, pairs = _parts(frame, "pairs", PAIR_FIELDS)
    count = np.bincount(row, minlength=len(frame)).astype(float)
    index = np.bincount(row, density_index(pairs[:, 0], pairs[:, 1]), minlength=len(frame))
    pressure = np.bincount(row, pairs[:, 2], minlength=len(frame))
    at, readings = _parts(frame, "readings", ("hydrogen_ml_100g",))
    number = np.bincount(at, minlength=len(frame)).astype(float)
    hydrogen = np.bincount(at, readings[:, 0], minlength=len(frame))
    with np.errstate(invalid="ignore", divide="ignore"):
        index, pressure, hydrogen = index / count, pressure / count, hydrogen / number
    mixed = np.unique(row[~np.isclose(pairs[:, 2], pressure[row])])
    index[mixed] = np.nan
    return frame.assign(density_index_pct=index, test_pressure_mbar=pressure, hydrogen_ml_100g=hydrogen)


def pair_rows(frame: DataFrame) -> DataFrame:
    """Return one row a pair, for the study of repeated pairs.

    Parameters
    ----------
    frame : DataFrame
        One row a sample with `sequence`, `furnace`, `pairs` and, if known, `sampled_by`; all pairs of a row are of one
        melt.

    Returns
    -------
    DataFrame
        `melt`, `furnace`, `operator`, `density_index_pct` [%], `test_pressure_mbar` [mbar].
    """
    import pandas as pd

    row, pairs = _parts(frame, "pairs", PAIR_FIELDS)
    taken = frame.iloc[row]
    by = (
        taken["sampled_by"].fillna("").astype(str)
        if "sampled_by" in frame.columns
        else pd.Series("", index=taken.index)
    )
    return pd.DataFrame({
        "melt": taken["sequence"].to_numpy(),
        "furnace": taken["furnace"].to_numpy(),
        "operator": by.replace("", "not noted").to_numpy(),
        "density_index_pct": density_index(pairs[:, 0], pairs[:, 1]),
        "test_pressure_mbar": pairs[:, 2],
    })  # fmt: skip

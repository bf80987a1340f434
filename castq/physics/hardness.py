"""Hardness against strength of Al-Si-Mg castings: straight lines through minima of standards, and their inverses."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import Band, relation

LINES_SOURCE = "least squares over 15 rows of minima, EN 1706 alloys 42000, 42100, 42200, 43100; no test results"
# Slope [MPa/HB] and intercept [MPa] of strength over Brinell hardness.
YIELD_ALL = (3.45, -89.0)
YIELD_T6 = (2.12, 26.0)
TENSILE_ALL = (3.15, -9.0)
TENSILE_T6 = (3.69, -56.0)


def _along(line: tuple[float, float], x: ArrayLike) -> NDArray[np.float64]:
    return line[0] * np.asarray(x, dtype=float) + line[1]


def _against(line: tuple[float, float], y: ArrayLike) -> NDArray[np.float64]:
    return (np.asarray(y, dtype=float) - line[1]) / line[0]


@relation(
    id="yield-from-hardness",
    title="Yield strength from Brinell hardness, all tempers",
    source=LINES_SOURCE,
    provenance="derived",
    band=Band("absolute", 12.0, "MPa", "residual of the fit"),
    valid={"hardness_hb": (50.0, 110.0)},
)
def yield_from_hardness(hardness_hb: ArrayLike) -> NDArray[np.float64]:
    """Return the yield strength that belongs to a Brinell hardness, any temper.

    Parameters
    ----------
    hardness_hb : array_like
        Brinell hardness [HB].

    Returns
    -------
    array
        0.2 % proof stress [MPa].

    Notes
    -----
    Under-aged and over-aged metal of the same hardness differ in elongation.
    """
    return _along(YIELD_ALL, hardness_hb)


@relation(
    id="yield-from-hardness-t6",
    title="Yield strength from Brinell hardness, T6 and T64",
    source=LINES_SOURCE,
    provenance="derived",
    band=Band("absolute", 5.0, "MPa", "residual of the fit; 8 on a shop floor"),
    valid={"hardness_hb": (75.0, 100.0)},
)
def yield_from_hardness_t6(hardness_hb: ArrayLike) -> NDArray[np.float64]:
    """Return the yield strength that belongs to a Brinell hardness in T6.

    Parameters
    ----------
    hardness_hb : array_like
        Brinell hardness [HB].

    Returns
    -------
    array
        0.2 % proof stress [MPa].
    """
    return _along(YIELD_T6, hardness_hb)


@relation(
    id="tensile-from-hardness",
    title="Tensile strength from Brinell hardness, all tempers",
    source=LINES_SOURCE,
    provenance="derived",
    band=Band("absolute", 11.0, "MPa", "residual of the fit"),
    valid={"hardness_hb": (50.0, 110.0)},
)
def tensile_from_hardness(hardness_hb: ArrayLike) -> NDArray[np.float64]:
    """Return the tensile strength that belongs to a Brinell hardness, any temper.

    Parameters
    ----------
    hardness_hb : array_like
        Brinell hardness [HB].

    Returns
    -------
    array
        Ultimate tensile strength of sound bars [MPa].
    """
    return _along(TENSILE_ALL, hardness_hb)


@relation(
    id="tensile-from-hardness-t6",
    title="Tensile strength from Brinell hardness, T6 and T64",
    source=LINES_SOURCE,
    provenance="derived",
    band=Band("absolute", 11.0, "MPa", "residual of the fit"),
    valid={"hardness_hb": (75.0, 100.0)},
)
def tensile_from_hardness_t6(hardness_hb: ArrayLike) -> NDArray[np.float64]:
    """Return the tensile strength that belongs to a Brinell hardness in T6.

    Parameters
    ----------
    hardness_hb : array_like
        Brinell hardness [HB].

    Returns
    -------
    array
        Ultimate tensile strength of sound bars [MPa].
    """
    return _along(TENSILE_T6, hardness_hb)


@relation(
    id="hardness-from-yield",
    title="Brinell hardness from yield strength, all tempers",
    source=LINES_SOURCE,
    provenance="derived",
    band=Band("absolute", 3.5, "HB", "residual of the fit over its slope"),
    valid={"ys_mpa": (80.0, 290.0)},
)
def hardness_from_yield(ys_mpa: ArrayLike) -> NDArray[np.float64]:
    """Return the Brinell hardness that belongs to a yield strength, any temper.

    Parameters
    ----------
    ys_mpa : array_like
        0.2 % proof stress [MPa].

    Returns
    -------
    array
        Brinell hardness [HB].
    """
    return _against(YIELD_ALL, ys_mpa)


@relation(
    id="hardness-from-yield-t6",
    title="Brinell hardness from yield strength, T6 and T64",
    source=LINES_SOURCE,
    provenance="derived",
    band=Band("absolute", 2.5, "HB", "residual of the fit over its slope"),
    valid={"ys_mpa": (185.0, 240.0)},
)
def hardness_from_yield_t6(ys_mpa: ArrayLike) -> NDArray[np.float64]:
    """Return the Brinell hardness that belongs to a yield strength in T6.

    Parameters
    ----------
    ys_mpa : array_like
        0.2 % proof stress [MPa].

    Returns
    -------
    array
        Brinell hardness [HB].
    """
    return _against(YIELD_T6, ys_mpa)


@relation(
    id="yield-from-vickers",
    title="Yield strength from Vickers hardness, A356 and A357",
    source="Rometsch and Schaffer (2000), yield = 3.03 HV - 48",
    provenance="memory",
    band=Band("absolute", 15.0, "MPa", "judged, the scatter was not at hand"),
    valid={"hardness_hv": (60.0, 130.0)},
)
def yield_from_vickers(hardness_hv: ArrayLike) -> NDArray[np.float64]:
    """Return the yield strength that belongs to a Vickers hardness.

    Parameters
    ----------
    hardness_hv : array_like
        Vickers hardness [HV].

    Returns
    -------
    array
        0.2 % proof stress [MPa].
    """
    return _along((3.03, -48.0), hardness_hv)

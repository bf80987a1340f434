"""Control charts of counts: shares (p, np, Laney p') and counts (c, u).

Formulas of p, np, c and u as in the NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from castq.core.errors import input_error
from castq.statistics.charts import MEAN_RANGE_OF_TWO, Chart, chart_of
from castq.statistics.series import Array, numbers


def _counts(counts: ArrayLike, sizes: ArrayLike, what: str, within: bool) -> tuple[Array, Array]:
    """Return counts and group sizes, or refuse what cannot be."""
    found = numbers(counts, what)
    size = np.broadcast_to(np.asarray(sizes, dtype=float), found.shape)
    wrong = np.flatnonzero(~(size > 0.0) | (found < 0.0) | ((found > size) if within else False))
    if len(wrong):
        place, expected = (
            f"group {wrong[0] + 1}",
            "a count of 0 or more" + (", at most the group size" if within else ""),
        )
        raise input_error(what, place, f"count {found[wrong[0]]:g} of {size[wrong[0]]:g}", expected, "check the row")
    return found, size


def share_chart(counts: ArrayLike, sizes: ArrayLike, width: float = 3.0) -> Chart:
    """Return the p chart: the share of bad pieces in each group.

    Parameters
    ----------
    counts : array_like
        Bad pieces in each group [-].
    sizes : array_like
        Pieces in each group, or one size for all [-].
    width : float
        Distance of the limits from the centre, in standard deviations [-].

    Returns
    -------
    Chart
        Shares with binomial limits within 0 to 1 [-].
    """
    found, size = _counts(counts, sizes, "p chart", True)
    mean = float(found.sum() / size.sum())
    half = width * np.sqrt(mean * (1.0 - mean) / size)
    return chart_of("p", found / size, mean, half, float(np.sqrt(mean * (1.0 - mean) / size.mean())), (0.0, 1.0))


def number_chart(counts: ArrayLike, size: float, width: float = 3.0) -> Chart:
    """Return the np chart: the number of bad pieces in groups of one size.

    Parameters
    ----------
    counts : array_like
        Bad pieces in each group [-].
    size : float
        Pieces in each group [-].
    width : float
        Distance of the limits from the centre, in standard deviations [-].

    Returns
    -------
    Chart
        Numbers with binomial limits [-].
    """
    found, sizes = _counts(counts, size, "np chart", True)
    share = float(found.sum() / sizes.sum())
    sigma = float(np.sqrt(size * share * (1.0 - share)))
    return chart_of("np", found, size * share, width * sigma, sigma, (0.0, float(size)))


def count_chart(counts: ArrayLike, width: float = 3.0) -> Chart:
    """Return the c chart: the number of defects in equal areas of opportunity.

    Parameters
    ----------
    counts : array_like
        Defects in each area [-].
    width : float
        Distance of the limits from the centre, in standard deviations [-].

    Returns
    -------
    Chart
        Counts with Poisson limits [-].
    """
    found, _ = _counts(counts, 1.0, "c chart", False)
    mean = float(found.mean())
    return chart_of("c", found, mean, width * np.sqrt(mean), float(np.sqrt(mean)), (0.0, np.inf))


def rate_chart(counts: ArrayLike, sizes: ArrayLike, width: float = 3.0) -> Chart:
    """Return the u chart: defects per unit in groups of several units.

    Parameters
    ----------
    counts : array_like
        Defects in each group [-].
    sizes : array_like
        Units in each group [-].
    width : float
        Distance of the limits from the centre, in standard deviations [-].

    Returns
    -------
    Chart
        Rates with Poisson limits [1/unit].
    """
    found, size = _counts(counts, sizes, "u chart", False)
    mean = float(found.sum() / size.sum())
    return chart_of("u", found / size, mean, width * np.sqrt(mean / size), float(np.sqrt(mean / size.mean())),
                    (0.0, np.inf))  # fmt: skip


def laney_share_chart(counts: ArrayLike, sizes: ArrayLike, width: float = 3.0) -> Chart:
    """Return Laney's p' chart: a p chart whose limits also hold the spread between groups.

    Parameters
    ----------
    counts : array_like
        Bad pieces in each group [-].
    sizes : array_like
        Pieces in each group, or one size for all [-].
    width : float
        Distance of the limits from the centre, in standard deviations [-].

    Returns
    -------
    Chart
        Shares with limits within 0 to 1 [-].

    Notes
    -----
    Laney 2002, Quality Engineering 14:531, from memory. Large groups make binomial limits too narrow; here they are
    widened by the standard deviation of the standardised shares, taken from their moving range (not from their plain
    standard deviation, which a shift would blow up).
    """
    plain = share_chart(counts, sizes, width)
    mean, binomial = plain.centre, (plain.points - plain.centre)
    size = np.broadcast_to(np.asarray(sizes, dtype=float), plain.points.shape)
    error = np.sqrt(mean * (1.0 - mean) / size)
    if not error.all():
        return plain
    excess = float(np.mean(np.abs(np.diff(binomial / error))) / MEAN_RANGE_OF_TWO)
    return chart_of("p'", plain.points, mean, width * error * excess, plain.sigma * excess, (0.0, 1.0))

"""Charts, measurement study and fit as plain text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from castq.core.cautions import BY_COMMAND
from castq.melt.chart_types import ChartBook, GroupChart
from castq.melt.evidence import reading_sigma
from castq.melt.fit import FitResult
from castq.melt.repeat_study import RepeatStudy
from castq.report.lines import wrapped
from castq.report.melt_text import bullets, ending, part, table
from castq.report.melt_words import SIGNS, STATE_LOOKS, kinetics_words, sign_of

# Worst first; within a look as the charts stand.
_ORDER = ("fails", "at risk", "not decided", "pass")


@dataclass(frozen=True, slots=True)
class SampleSize:
    """How many pairs prove a mean below the limit.

    Attributes
    ----------
    mean_pct : float
        Mean density index that the melt is supposed to have [%].
    pairs : int or None
        Pairs that prove it below the limit with the certainty asked for; None when no number does [-].
    """

    mean_pct: float
    pairs: int | None


def told_first(charts: ChartBook) -> list[GroupChart]:
    """Return the charts of whole furnaces, worst first, then those of shifts that have a signal."""
    shown = [g for g in charts.groups if not g.shift or STATE_LOOKS[g.state] in ("fails", "at risk")]
    return sorted(shown, key=lambda g: (_ORDER.index(STATE_LOOKS[g.state]), bool(g.shift)))


def signalled(charts: ChartBook) -> bool:
    """Return whether a chart of a whole furnace has a signal that is open now."""
    return any(STATE_LOOKS[g.state] in ("fails", "at risk") for g in charts.groups if not g.shift)


def charts_text(charts: ChartBook, files: Sequence[Path] = ()) -> str:
    """Return the signals of the charts in words.

    Parameters
    ----------
    charts : ChartBook
        The charts.
    files : sequence of Path
        Pictures that were written.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    groups = told_first(charts)
    first = "Something has changed" if signalled(charts) else "No signal: nothing has changed beyond the usual scatter"
    lines = [
        wrapped(f"{sign_of('fails' if signalled(charts) else 'pass')} {first}." if groups else "[?] No samples yet.")
    ]
    lines += [wrapped(g.words, f"  [{SIGNS[STATE_LOOKS[g.state]]}] ") for g in groups]
    based = [f"{g.words.partition(':')[0]}, {g.quantity.label}: {g.baseline.words}" for g in groups
             if g.baseline and not g.shift]  # fmt: skip
    able = [g.capability_words for g in groups if g.capability_words and not g.shift]
    lines += part("What the limits rest on", bullets(based))
    lines += part("Capability", bullets(able))
    lines += part("To note", bullets(charts.notes))
    lines += part("Pictures", bullets([str(path) for path in files]))
    return "\n".join([*lines, *ending(_WATCHED)])


_WATCHED = (
    "A signal says that something has changed, not what. Look at the furnace, the test and the gas before you act; it "
    "replaces no sample before tapping.",
    *BY_COMMAND["melt"][1:],
)


def study_text(study: RepeatStudy | None, why_not: str, capability: Sequence[str], sizes: Sequence[SampleSize],
               limit_words: str) -> str:  # fmt: skip
    """Return a measurement study with capability and sample sizes.

    Parameters
    ----------
    study : RepeatStudy or None
        The study, if there are repeats enough.
    why_not : str
        Why there is none.
    capability : sequence of str
        Capability of each furnace, in words.
    sizes : sequence of SampleSize
        Pairs that prove a mean below the limit.
    limit_words : str
        The limit and the certainty.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    first = study.words[0] if study else f"no measurement study: {why_not}"
    lines = [wrapped(f"{sign_of('pass' if study else 'not decided')} {first[:1].upper()}{first[1:]}.")]
    if study:
        lines += part("The test", bullets(study.words[1:]))
        cells = [("part", "share", "one sigma, even scale", "interval")]
        cells += [(c.name, f"{c.share_pct:.0f} %", f"{c.deviation:.3f}", f"{c.low**0.5:.3f} to {c.high**0.5:.3f}")
                  for c in study.study.components]  # fmt: skip
        lines += part("Parts of the spread", table(cells, (16, 8, 22, 24)))
        lines += part("How it was worked out", bullets(study.study.remarks))
    lines += part("Capability of the degassing step", bullets(capability))
    if sizes:
        needed = [("if the mean is", "pairs that prove it")]
        needed += [(f"{s.mean_pct:.2f} %", str(s.pairs) if s.pairs else "no number of pairs does") for s in sizes]
        lines += part(f"How many pairs a melt needs: {limit_words}", table(needed, (16, 40)))
    return "\n".join([*lines, *ending(BY_COMMAND["melt"][1:])])


def fit_words(result: FitResult) -> str:
    """Return what was learnt in one sentence."""
    k = result.kinetics
    told = "" if result.identified else "; the data cannot tell rate and floor apart"
    return (
        f"rate {k.rate_per_min:.3f} per min (factor {np.exp(k.rate_log_sigma):.2f} from treatment to treatment), floor "
        f"{k.floor_ml_100g:.3f} ± {k.floor_sigma_ml_100g:.3f} ml/100g, from {k.points} readings{told}"
    )


def fit_text(result: FitResult, sha256: str, unused: int, files: Sequence[Path]) -> str:
    """Return what was learnt of a furnace.

    Parameters
    ----------
    result : FitResult
        What was learnt.
    sha256 : str
        Hash of the calibration.
    unused : int
        Treatments that could not be used [-].
    files : sequence of Path
        What was written.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    words = fit_words(result)
    look = "pass" if result.identified else "not decided"
    left = [f"{unused} treatments have no readings at two times and were not used"] if unused else []
    cells = [("reading", "min", "measured", "fitted", "sigmas")]
    worst = sorted(result.residuals, key=lambda r: -abs(r.standardised))[:5]
    cells += [(r.run, f"{r.minutes:.0f}", f"{r.measured_ml_100g:.3f}", f"{r.fitted_ml_100g:.3f}",
               f"{r.standardised:+.1f}") for r in worst]  # fmt: skip
    lines = [
        wrapped(f"{sign_of(look)} {words[:1].upper()}{words[1:]}."),
        *part("Look at this first", bullets((*result.warnings, *left), "  ! ")),
        *part("Readings that lie farthest off the fit (ml/100g)", table(cells, (30, 5, 10, 8, 7))),
        *part("Stored as", bullets([kinetics_words(result.kinetics, sha256), *(str(path) for path in files)])),
    ]
    return "\n".join([*lines, *ending(BY_COMMAND["melt"])])


def sigmas_of(result: FitResult) -> np.ndarray:
    """Return the standard deviation expected of each reading of a fit [ml/100g]."""
    off = np.array([r.measured_ml_100g - r.fitted_ml_100g for r in result.residuals])
    counted = np.array([r.standardised for r in result.residuals])
    usual = reading_sigma(np.array([r.fitted_ml_100g for r in result.residuals]))
    return np.where(np.abs(counted) > 1e-9, off / np.where(counted == 0.0, 1.0, counted), usual)

"""The answers of the pouring table in plain words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from castq import __version__
from castq.core.errors import plain
from castq.melt.designs import KeptDesign, KeptZone
from castq.melt.types import Interval

FAILS = "but over all its limits its screening says: fails"
# How many zones a sentence names before it counts the rest.
_MOST_NAMED = 3


def share_words(share: float) -> str:
    """Return a probability as whole percent, rounded down, never 0 or 100 unless it is exactly so."""
    if 0.0 < share < 0.01:
        return "less than 1 %"
    if 0.99 < share < 1.0:
        return "more than 99 %"
    return f"{math.floor(100.0 * share + 1e-9)} %"


def row_words(kept: KeptDesign, answer: str, probability: float, *, other_alloy: str, first: str, mend: str) -> str:
    """Return the answer for one design in one sentence.

    Parameters
    ----------
    kept : KeptDesign
        The design.
    answer : str
        What to do.
    probability : float
        Probability that every decided zone meets its limit [-].
    other_alloy : str
        Alloy of the melt when it is not that of the design, else empty.
    first : str
        Zone that is least likely to meet its limit.
    mend : str
        What would help.

    Returns
    -------
    str
        The sentence.
    """
    if other_alloy:
        return (
            f"do not pour: the melt is {plain(other_alloy, 60)}, this design was screened for {plain(kept.alloy, 60)}"
        )
    if not kept.zones:
        return "not comparable: its case sets no limit on porosity"
    unknown = unknown_words(kept.zones)
    if answer == "not comparable":
        return f"not comparable: {unknown}"
    odds = f"every zone meets its porosity limit with a probability of {share_words(probability)}"
    if answer == "may pour":
        return f"may pour as far as this screening tells: {odds}"
    odds = odds.replace("every zone meets", "every decided zone meets") if unknown else odds
    fails = FAILS if kept.verdict == "fails" else ""
    told = [f"{odds}, least surely {plain(first, 60)}", *(text for text in (mend, unknown, fails) if text)]
    return f"{answer}: " + "; ".join(told)


def unknown_words(zones: Sequence[KeptZone]) -> str:
    """Return which zones are not decided, and why; empty when all are."""
    unknown = [zone for zone in zones if zone.undecided]
    if not unknown:
        return ""
    names = list(dict.fromkeys(plain(zone.zone, 60) for zone in unknown))
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return f"nothing is known of {', '.join(names[:_MOST_NAMED])}{more} ({plain(unknown[0].undecided)})"


def degas_words(kept: KeptDesign, degas_to: float | None, *, within: bool, sure: float) -> str:
    """Return what would help a melt that does not do yet.

    Parameters
    ----------
    kept : KeptDesign
        The design.
    degas_to : float or None
        Level to degas to [ml/100g]; none when none would help.
    within : bool
        True when the middle of the melt lies within what the design stands.
    sure : float
        Certainty asked for [-].

    Returns
    -------
    str
        Part of a sentence.
    """
    if degas_to is not None:
        again = ", or take another sample: the middle of this melt is low enough, its range is not" if within else ""
        return f"to be {share_words(sure)} sure, degas to {degas_to:.3f} ml/100g first{again}"
    if kept.shrinkage_alone <= 1.0 - sure:
        return "the hydrogen of this melt is not known well enough: take more samples"
    worst = max((zone for zone in kept.zones if not zone.undecided), key=lambda zone: zone.shrinkage_alone)
    return (
        f"no hydrogen would do: shrinkage alone exceeds a limit in {share_words(kept.shrinkage_alone)} of the draws, "
        f"most often that of {plain(worst.zone, 60)}"
    )


def notes_of(kept: KeptDesign) -> tuple[str, ...]:
    """Return what else to know of a kept design before anything is poured on its word."""
    notes = []
    if kept.verdict in ("fails", "at risk", "not decided"):
        notes.append(f"over all its limits, its screening says: {kept.verdict}")
    if kept.castq_version != __version__:
        notes.append(f"kept by castq {plain(kept.castq_version, 40)}: screen it again with this version")
    house = list(dict.fromkeys(plain(zone.zone, 60) for zone in kept.zones if zone.house_default))
    if house:
        notes.append(f"limits of {', '.join(house)} are house defaults of castq, not from a drawing")
    if kept.stands(0.5) >= kept.reaches_ml_100g:
        notes.append(f"the porosity estimate reaches no further than {kept.reaches_ml_100g:g} ml/100g")
    return tuple(notes)


def table_words(answers: Sequence[str], melt: Interval, sure: float) -> str:
    """Return the whole table in one sentence.

    Parameters
    ----------
    answers : sequence of str
        Answer for each design.
    melt : Interval
        Hydrogen of the melt [ml/100g].
    sure : float
        Certainty asked for [-].

    Returns
    -------
    str
        The sentence.
    """
    if not answers:
        return "no screened design is kept: keep one with castq screen and its option --keep"
    counts = {word: sum(answer == word for answer in answers) for word in ("may pour", "pour with care")}
    return (
        f"with hydrogen {melt.median:.3f} ml/100g ({melt.p10:.3f} to {melt.p90:.3f}) this melt may pour "
        f"{counts['may pour']} of {len(answers)} designs as far as screening tells, and {counts['pour with care']} "
        f"with care, at {share_words(sure)} certainty"
    )

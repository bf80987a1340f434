"""Judgement, plan and pouring table as plain text: the answer first, then why, numbers, clocks and cautions."""

from __future__ import annotations

import math
from collections.abc import Sequence

from castq.core.cautions import BANNER_SHORT, BY_COMMAND
from castq.core.errors import plain
from castq.melt.plan import TreatmentPlan
from castq.melt.release import ReleaseTable
from castq.melt.types import Judgement
from castq.report.lines import columns, title, wrapped
from castq.report.melt_words import (
    ANSWER_LOOKS,
    POUR_LOOKS,
    Standing,
    clock_words,
    hydrogen_name,
    kinetics_words,
    level,
    minutes,
    pour_share,
    sample_words,
    share,
    sign_of,
    stands_words,
)

_FIRST_HAZARDS = 1


def bullets(texts: Sequence[str], mark: str = "  - ") -> list[str]:
    """Return texts as a list, each behind a mark."""
    return [wrapped(text, mark) for text in texts]


def part(head: str, lines: Sequence[str]) -> list[str]:
    """Return a part with its heading; nothing when it is empty."""
    return [*title(head), *lines] if lines else []


def table(rows: Sequence[Sequence[str]], widths: Sequence[int]) -> list[str]:
    """Return rows of cells as lines, set in."""
    return [f"  {row}" for row in columns(rows, widths)]


def ending(cautions: Sequence[str]) -> list[str]:
    """Return the cautions of a command and the short banner, as every text ends."""
    return [*part("Before you act", bullets(cautions, "  ! ")), "", wrapped(BANNER_SHORT)]


def judge_text(judgement: Judgement, standing: Standing) -> str:
    """Return a judgement as text.

    Parameters
    ----------
    judgement : Judgement
        The answer.
    standing : Standing
        What it stands on.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    look, _ = ANSWER_LOOKS[judgement.answer]
    clocks = [clock_words(clock, standing.at) for clock in (*judgement.clocks, *standing.clocks)]
    lines = [
        wrapped(f"{sign_of(look)} {judgement.words}"),
        wrapped(f"    {sample_words(standing.samples[-1])}", "    "),
        *bullets(standing.notes, "    ! "),
        *bullets(BY_COMMAND["melt"][:_FIRST_HAZARDS], "    ! "),
        *part("Why", bullets(judgement.reasons)),
        *part("Numbers", table(_numbers(judgement), (42, 52))),
        *part("How long it stays good", bullets(clocks)),
        *part("What would help", bullets(judgement.what_helps)),
        *part("Assumed, as it was not given", bullets(judgement.defaults_used)),
        *part("Rests on", bullets(_grounds(judgement, standing))),
    ]
    return "\n".join([*lines, *ending(BY_COMMAND["melt"][_FIRST_HAZARDS:])])


def _numbers(j: Judgement) -> list[tuple[str, str]]:
    rows = [(hydrogen_name(j), level(j.hydrogen_ml_100g)),
            ("target met now, probability", share(j.probability_ok))]  # fmt: skip
    if j.density_index_pct is not None:
        index, bound = j.density_index_pct, j.density_index_bound_pct or math.nan
        rows.append(("density index, mean", f"{index.median:.2f} % (p10 to p90: {index.p10:.2f} to {index.p90:.2f})"))
        rows.append(("the most hydrogen can make here", f"{bound:.1f} %" + (": exceeded" if j.bad_sample else "")))
    if j.answer != "cast":
        rows.append(("more degassing, even odds / sure", f"{minutes(j.minutes_median)} / {minutes(j.minutes_sure)}"))
    if j.samples_needed:
        rows.append(("further samples that would decide", f"{j.samples_needed}, if they come out alike"))
    return rows


def _grounds(judgement: Judgement, standing: Standing) -> list[str]:
    grounds = [kinetics_words(standing.kinetics, standing.kinetics_sha256),
               f"Relations: {', '.join(judgement.relations_used)} (castq relations ID shows the source)."]  # fmt: skip
    if standing.rows:
        rows = ", ".join(map(str, standing.rows))
        grounds.append(f"Written to {plain(standing.book, 80)}, row {rows}.")
    return grounds


def plan_text(plan: TreatmentPlan, kinetics_sha256: str = "") -> str:
    """Return a plan as text.

    Parameters
    ----------
    plan : TreatmentPlan
        The plan.
    kinetics_sha256 : str
        Hash of the calibration it rests on.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    look = "pass" if math.isfinite(plan.minutes_sure) else "at risk" if math.isfinite(plan.minutes_median) else "fails"
    reachable = f"The target lies above the floor with a probability of {share(plan.probability_reachable)}."
    lines = [
        wrapped(f"{sign_of(look)} {plan.words}"),
        *bullets(BY_COMMAND["melt"][:_FIRST_HAZARDS], "    ! "),
        *part("Why", bullets([reachable, f"Left alone in this air the melt goes to {plan.air_ml_100g:.3f} ml/100g."])),
        *part("Hydrogen on the way (ml/100g)", _course(plan)),
        *part("Second opinion: the purge gas model", bullets(_opinion(plan))),
        *part("What a change would do to the minutes", _effects(plan)),
        *part("Afterwards", bullets(_held(plan))),
        *part("Assumed, as it was not given", bullets(plan.defaults_used)),
        *part("Rests on", bullets([
            kinetics_words(plan.kinetics, kinetics_sha256), f"Relations: {', '.join(plan.relations_used)}.",
        ])),
    ]  # fmt: skip
    return "\n".join([*lines, *ending((*BY_COMMAND["melt"][_FIRST_HAZARDS:], *BY_COMMAND["additions"]))])


def _course(plan: TreatmentPlan) -> list[str]:
    course = plan.course
    last = len(course.minutes) - 1
    places = sorted({round(last * step / 6) for step in range(7)})
    rows = [("min", *(f"{course.minutes[i]:.0f}" for i in places))]
    for name, values in (("p90", course.p90), ("median", course.median), ("p10", course.p10)):
        rows.append((name, *(f"{values[i]:.3f}" for i in places)))
    return table(rows, (8, *(7 for _ in places)))


def _opinion(plan: TreatmentPlan) -> list[str]:
    opinion = plan.second_opinion
    if opinion is None:
        return []
    return [
        f"{minutes(opinion.minutes)} to the target; between its two limits, {minutes(opinion.diffusion_minutes)} for "
        f"diffusion alone and {minutes(opinion.gas_minutes)} for gas that leaves in balance.",
        f"What controls: {opinion.controls}.",
        f"The gas carries {share(opinion.used_at_start)} of what it could at the start and "
        f"{share(opinion.used_at_target)} at the target; {opinion.gas_nl:.0f} l of gas in all, "
        f"at least {opinion.gas_need:.0f} l for a litre of hydrogen.",
    ]  # fmt: skip


def _effects(plan: TreatmentPlan) -> list[str]:
    rows = [("change", "even odds", "sure", "change min", "floor")]
    for effect in plan.effects:
        moved = "-" if math.isnan(effect.difference_min) else f"{effect.difference_min:+.1f}"
        rows.append((effect.change, minutes(effect.minutes_median), minutes(effect.minutes_sure), moved,
                     f"{effect.floor_ml_100g:.3f}"))  # fmt: skip
    ways = dict.fromkeys(effect.words for effect in plan.effects)
    return [*table(rows, (38, 10, 10, 11, 8)), *(wrapped(f"  {words}", "  ") for words in ways)]


def _held(plan: TreatmentPlan) -> list[str]:
    if plan.holds_median_min <= 0.0:
        return []
    sure, even = (minutes(value).replace("no end", "more than a day") for value in (plan.holds_sure_min,
                                                                                  plan.holds_median_min))  # fmt: skip
    return [f"Held quiet it stays below the target for {sure} surely, {even} at even odds; "
            "this sets a latest time, it shortens no hold that your procedure requires."]  # fmt: skip


def release_text(table: ReleaseTable) -> str:
    """Return a pouring table as text.

    Parameters
    ----------
    table : ReleaseTable
        The table.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    lines = [wrapped(f"{sign_of(table_look(table))} {table.words[:1].upper()}{table.words[1:]}."),
             *bullets(table.cautions[:1], "    ! ")]  # fmt: skip
    rows = [("  ", "design", "answer", "sure", "stands", "decides")]
    for row in table.rows:
        stands = stands_words(row.stands_ml_100g)
        rows.append((sign_of(POUR_LOOKS[row.answer]), row.design, row.answer, pour_share(row.probability_ok), stands,
                     row.decides))  # fmt: skip
    lines += part(f"Designs (stands: most hydrogen in ml/100g at {share(table.sure)} certainty)",
                  columns(rows, (3, 30, 15, 5, 6, 28)) if table.rows else [])  # fmt: skip
    told = [f"{row.design}: {text}" for row in table.rows for text in (row.words, *row.notes)]
    lines += part("Each in words", bullets(told))
    return "\n".join([*lines, *ending(table.cautions[1:2] + BY_COMMAND["melt"])])


def table_look(table: ReleaseTable) -> str:
    """Return the look of a whole pouring table: that of its best answer."""
    looks = {POUR_LOOKS[row.answer] for row in table.rows}
    return next((look for look in ("pass", "at risk", "fails") if look in looks), "not decided")

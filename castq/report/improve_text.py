"""An improvement and a sweep as plain text for a terminal: at most 100 columns."""

from __future__ import annotations

from itertools import zip_longest

from castq.core.cautions import BANNER
from castq.report.improve_words import combination_rows, hazards, headline, lever_rows, notes, setting
from castq.report.lines import columns, title, wrapped
from castq.report.words import percent
from castq.screening.improve import Improvement
from castq.screening.sweep import Effect, Sweep, chance

MOST_COMBINATIONS = 5
MOST_EFFECTS = 4


def improve_text(result: Improvement) -> str:
    """Return an improvement as text: levers ranked, combinations, what cannot be changed, cautions.

    Parameters
    ----------
    result : Improvement
        The result.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    lines = [wrapped(result.basis.state.case.name), wrapped(headline(result))]
    lines += [wrapped(f"{t.name}: all {len(t.places)} decided limits met in {percent(t.probability)}", "  - ")
              for t in result.targets]  # fmt: skip
    lines += [*title("Levers, ranked (gain in percentage points of each probability; weight and time to solid)"),
              *_lever_lines(result)]  # fmt: skip
    lines += [*title("Best combinations, solved together"), *_combination_lines(result)]
    lines += [*title("What cannot be changed here")]
    lines += [wrapped(f"{entry.label}: {entry.reason}", "  - ") for entry in result.left_out] or ["  nothing"]
    lines += title("To note")
    lines += [wrapped(text, "  ! ") for text in (*notes(result), *hazards(result))]
    return "\n".join([*lines, "", wrapped(BANNER)])


def _heads(result: Improvement) -> list[str]:
    return [target.name for target in result.targets]


def _lever_lines(result: Improvement) -> list[str]:
    widths = (27, 15, *(9 for _ in result.targets), 7, 6)
    rows = [("lever", "tried", *_heads(result), "kg", "s")]
    for row in lever_rows(result):
        names = (row["label"], f"  now {row['present']}")
        for name, end in zip_longest(names, row["ends"]):
            cells = [gain["text"] for gain in end["gains"]] if end else [""] * len(result.targets)
            told = (end["weight"], end["time"]) if end else ("", "")
            rows.append((name, end["what"] if end else "", *cells, *told))
    return columns(_two_heads(rows), widths, " ")


def _two_heads(rows: list[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Return rows whose first one, the head, is split at the last space of long cells into two."""
    upper, lower = [], []
    for cell in rows[0]:
        first, _, second = cell.rpartition(" ") if len(cell) > 8 else ("", "", cell)
        upper.append(first)
        lower.append(second)
    return [tuple(upper), tuple(lower), *rows[1:]]


def _combination_lines(result: Improvement) -> list[str]:
    lines: list[str] = []
    for row in combination_rows(result)[:MOST_COMBINATIONS]:
        gains = ", ".join(
            f"{target.name} {gain['text']}" + (f" ({gain['interval']})" if gain["interval"] else "")
            for target, gain in zip(result.targets, row["gains"], strict=True)
        )
        lines.append(wrapped(f"{row['what']}: weight {row['weight']} kg, time to solid {row['time']} s", "  - "))
        lines.append(wrapped(gains + (f"; {row['note']}" if row["note"] else ""), "      "))
    return lines or ["  none: no two levers help, or the budget ended before"]


def sweep_text(result: Sweep) -> str:
    """Return a sweep as text: what was varied, and what the results follow most.

    Parameters
    ----------
    result : Sweep
        The result.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    failed = sum(bool(note) for note in result.notes)
    lines = [wrapped(f"{result.basis.state.case.name}: {len(result.changes)} variants, Latin hypercube, "
                     f"seed {result.seed}" + (f"; {failed} cannot be made or solved" if failed else ""))]  # fmt: skip
    lines += [wrapped(f"{e.lever.label}: {setting(e.lever, e.low)} to {setting(e.lever, e.high)}", "  - ")
              for e in result.ends]  # fmt: skip
    lines += title("What each result follows (share of its variance; rank correlation in brackets)")
    by_result: dict[str, list[Effect]] = {}
    for effect in result.effects:
        by_result.setdefault(effect.result, []).append(effect)
    for name, effects in by_result.items():
        told = ", ".join(f"{e.lever} {100 * max(e.share, 0.0):.0f} % ({e.rank_correlation:+.2f})"
                         for e in effects[:MOST_EFFECTS])  # fmt: skip
        lines.append(wrapped(f"{name}: {told}", "  - "))
    if by_result:
        count = len(result.changes)
        lines.append(wrapped(f"With {count} variants a rank correlation below {chance(count):.2f} is scatter, and one "
                             "in twenty beyond it."))  # fmt: skip
    else:
        lines.append("  no result varies, or too few variants were solved")
    return "\n".join([*lines, "", wrapped(BANNER)])

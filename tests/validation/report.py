"""The validation table as text."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from castq.core.relation import PROVENANCE_WORDS
from tests.validation.rows import Row

# Differences below this share of the value are round-off.
ROUND_OFF = 1e-9
# Kinds of source that bring a value from outside; the others show that the arithmetic or the mathematics is right.
OUTSIDE = ("published", "handbook", "measured", "worked example", "reference library")

HEAD = """\
# Validation

Written by `python -m tests.validation`; not to be edited by hand.

Each line holds what castq gives (S) against what a source gives (D), with E = S - D, as in ASME V&V 20 (2009):

- u_num: uncertainty of S from its numbers: 0 for a closed formula; for the wall relations the bound of the default grid
  against a fine one; for a solver the grid convergence index of two or three grids (Roache, J. Fluids Eng. 116 (1994)
  405), the observed order capped at the scheme's own; where the grids do not converge as they should, order 1 and a
  factor of 3.
- u_input: the relation's own one-sigma band at S; it stands for the spread of inputs and of published fits. It says
  nothing where D is the same formula worked by hand.
- u_D: half of the row's tolerance, read as two standard deviations, unless the line says otherwise.
- u_val: the three together. |E| <= u_val means that E cannot be told from noise, not that the model is right.
- verdict: `met` when |E| is within the row's tolerance (for measured series two standard deviations), else `MISSED`.

Of several values in a row (n) the one that uses most of its tolerance is shown. Provenance: {provenance}.

Read it soberly. A line of kind *independent arithmetic*, *own solver* or *own generator* was worked by ourselves, apart
from the code it checks: it shows that the code does what the formula says, not that the formula describes a casting.
*Closed form* lines show that the mathematics is right, *reference library* lines that another program agrees. Only
*published*, *handbook*, *measured* and *worked example* lines bring a value from the literature; few of them are of
wheels, none is of the user's plant.
"""


def number(value: float) -> str:
    """Return a number in six digits."""
    return f"{value:.6g}"


def small(value: float, scale: float) -> str:
    """Return a difference or an uncertainty in two digits; round-off is nothing."""
    return "0" if abs(value) <= ROUND_OFF * scale else f"{value:.2g}"


def cell(text: str) -> str:
    """Return text that does not break a table."""
    return text.replace("|", "\\|").replace("\n", " ")


def line(row: Row) -> str:
    """Return one row of a table."""
    scale = max(abs(row.s), abs(row.d)) if row.d != 0.0 else 0.0
    share = small(100.0 * row.e / row.d, 100.0) if row.d != 0.0 else "-"
    sizes = [small(value, scale) for value in (row.e, row.u_num, row.u_input, row.u_d, row.u_val)]
    within = "yes" if abs(row.e) <= row.u_val else "no"
    found = number(row.s) if row.d != 0.0 else f"{row.s:.1g}"
    words = f"{row.source} ({row.kind}, {row.provenance})" + (f"; {row.note}" if row.note else "")
    cells = [row.subject, row.id, str(row.count), found, number(row.d), row.unit, sizes[0], share, *sizes[1:], within,
             row.word, words]  # fmt: skip
    return "| " + " | ".join(cell(text) for text in cells) + " |"


COLUMNS = ("relation or problem", "row", "n", "S", "D", "unit", "E", "E %", "u_num", "u_input", "u_D", "u_val",
           "|E| <= u_val", "verdict", "source")  # fmt: skip


def header(names: Iterable[str]) -> list[str]:
    """Return the head of a table."""
    names = [cell(name) for name in names]
    return ["| " + " | ".join(names) + " |", "|" + "---|" * len(names)]


def summary(topic: str, rows: Sequence[Row]) -> str:
    """Return the line of a topic in the summary."""
    met = sum(row.met for row in rows)
    within = sum(abs(row.e) <= row.u_val for row in rows)
    outside = sum(row.kind in OUTSIDE for row in rows)
    from_where = Counter(row.provenance for row in rows)
    cells = [topic, len({row.subject for row in rows}), len(rows), met, len(rows) - met, within, outside,
             *(from_where[word] for word in PROVENANCE_WORDS)]  # fmt: skip
    return "| " + " | ".join(str(value) for value in cells) + " |"


def report(rows: Sequence[Row]) -> str:
    """Return the whole table: summary, what is missed, and each topic.

    Parameters
    ----------
    rows : sequence of Row
        All lines, in order.

    Returns
    -------
    str
        Text in Markdown.
    """
    topics: dict[str, list[Row]] = {}
    for row in rows:
        topics.setdefault(row.topic, []).append(row)
    meanings = "; ".join(f"{word} = {meaning}" for word, meaning in PROVENANCE_WORDS.items())
    parts = [HEAD.format(provenance=meanings), "## Summary", ""]
    parts += header(("topic", "relations or problems", "rows", "met", "missed", "|E| <= u_val", "value from outside",
                     *PROVENANCE_WORDS))  # fmt: skip
    parts += [summary(topic, lines) for topic, lines in topics.items()] + [summary("**all**", rows), ""]
    missed = [row for row in rows if not row.met]
    parts += ["## Missed", "", *(header(COLUMNS) + [line(row) for row in missed] if missed else ["None."]), ""]
    for topic, lines in topics.items():
        parts += [f"## {topic}", "", *header(COLUMNS), *(line(row) for row in lines), ""]
    return "\n".join(parts)

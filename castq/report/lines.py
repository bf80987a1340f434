"""Lines of plain text for a terminal: at most 100 columns, no mark-up, nothing that a name could smuggle in."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from castq.core.errors import plain

WIDTH = 100
# Signs that an old code page may lack.
_SIMPLE = str.maketrans({
    "–": "-", "µ": "u", "≥": ">=", "≤": "<=", "²": "2", "³": "3", "½": "^0.5", "·": " ", "±": "+/-", "×": "x",
    "°": "deg", "∞": "inf",
})  # fmt: skip


def line(text: object, limit: int = WIDTH) -> str:
    """Return text as one line, cut at `limit` letters."""
    return plain(text, limit).translate(_SIMPLE)


def wrapped(text: str, indent: str = "") -> str:
    """Return text broken into lines, the first one behind `indent`, the others as far in."""
    clean = plain(text, 4000).translate(_SIMPLE)
    return textwrap.fill(clean, WIDTH, initial_indent=indent, subsequent_indent=" " * len(indent),
                         break_long_words=True)  # fmt: skip


def columns(rows: Sequence[Sequence[str]], widths: Sequence[int], gap: str = "  ") -> list[str]:
    """Return rows of cells as lines; a cell that is too long is cut."""
    return [gap.join(line(c, w)[:w].ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in rows]


def title(text: str) -> list[str]:
    """Return a heading: an empty line, the words, and a rule under them."""
    return ["", text, "-" * len(text)]

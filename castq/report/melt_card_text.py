"""The shift's card as plain text and as a document."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from castq.report.lines import columns, title, wrapped
from castq.report.melt_card import CARD_CAUTIONS, SAMPLE_HEADS, ShiftCard, pour_lines, sample_cells, sample_look
from castq.report.melt_exports import document
from castq.report.melt_text import bullets, ending
from castq.report.melt_words import SIGNS, STATE_LOOKS, sign_of


def card_text(card: ShiftCard, files: Sequence[Path]) -> str:
    """Return the card as text.

    Parameters
    ----------
    card : ShiftCard
        The card.
    files : sequence of Path
        What was written.

    Returns
    -------
    str
        Lines of at most 100 columns.
    """
    lines = [wrapped(f"{sign_of(f.look)} {f.furnace}: {f.words}") for f in card.furnaces] or [
        "[?] No furnace has a sample."
    ]
    lines += [line for f in card.furnaces for line in bullets([f"{f.furnace}: {note}" for note in f.notes], "    ! ")]
    lines += [wrapped(c.words, f"[{SIGNS[STATE_LOOKS[c.state]]}] ") for c in card.charts]
    rows = [("", *SAMPLE_HEADS)] + [(sign_of(sample_look(s)), *sample_cells(s)) for s in card.samples[:12]]
    lines += [*title(card.title), *columns(rows, (3, 6, 12, 17, 4, 6, 11, 26), " ")]
    pours = [f"{p.design}: stands {p.stands} ml/100g; " + ", ".join(words for _, words in p.cells)
             for p in pour_lines(card.furnaces)]  # fmt: skip
    lines += [*title("Which wheels"), *bullets(pours)] if pours else []
    lines += [*title("Files"), *bullets([str(path) for path in files])]
    return "\n".join([*lines, *ending(CARD_CAUTIONS)])


def card_to_dict(card: ShiftCard, files: Sequence[Path]) -> dict[str, Any]:
    """Return the card as a document."""
    return document("card", _content(card, files))


def demo_to_dict(card: ShiftCard, imported: str, files: Sequence[Path]) -> dict[str, Any]:
    """Return the card of the invented week as a document."""
    return document("demo", {"synthetic": True, "imported": imported, **_content(card, files)})


def _content(card: ShiftCard, files: Sequence[Path]) -> dict[str, Any]:
    return {
        "title": card.title, "since": card.since, "until": card.until, "book": card.book, "head": card.head,
        "target": card.target,
        "furnaces": [{"furnace": f.furnace, "answer": f.judgement.answer if f.judgement else None, "words": f.words,
                      "at": f.at, "notes": f.notes, "clocks": f.clock_lines(),
                      "hydrogen_ml_100g": f.judgement.hydrogen_ml_100g if f.judgement else None,
                      "hydrogen_is_equivalent": f.judgement.hydrogen_is_equivalent if f.judgement else None}
                     for f in card.furnaces],
        "samples": [{"row": s.row, "taken_at": s.sample.taken_at, "furnace": s.sample.furnace,
                     "answer": s.judgement.answer if s.judgement else None,
                     "words": s.judgement.words if s.judgement else ""} for s in card.samples],
        "charts": [{"furnace": c.furnace, "quantity": c.quantity.name, "state": c.state, "words": c.words}
                   for c in card.charts],
        "designs": [{"design": p.design, "stands": p.stands, "answers": [words for _, words in p.cells]}
                    for p in pour_lines(card.furnaces)],
        "grounds": card.grounds, "files": list(files), "cautions": CARD_CAUTIONS,
    }  # fmt: skip

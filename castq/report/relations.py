"""The register as text: a table of all relations, and the full card of one."""

from __future__ import annotations

import inspect
import textwrap
from collections.abc import Sequence

import numpy as np

from castq.core.nomenclature import unit_of
from castq.core.relation import PROVENANCE_WORDS, Relation

WIDTH = 100


def relation_table(relations: Sequence[Relation]) -> str:
    """Return one line a relation: id, title, provenance, and whether it is a closure.

    Parameters
    ----------
    relations : sequence of Relation
        What to list.
    """
    width = max(len(entry.id) for entry in relations)
    lines = [f"{'id':<{width}}  {'provenance':<10}  title", "-" * WIDTH]
    for entry in relations:
        mark = "  [closure]" if entry.closure else ""
        lines.append(f"{entry.id:<{width}}  {entry.provenance:<10}  {entry.title}{mark}")
    meanings = "; ".join(f"{word} = {meaning}" for word, meaning in PROVENANCE_WORDS.items())
    lines += [
        "",
        f"{len(relations)} relations. {meanings}.",
        "castq relations ID shows one with range, band and notes.",
    ]
    return "\n".join(lines)


def relation_card(entry: Relation) -> str:
    """Return the full card of a relation.

    Parameters
    ----------
    entry : Relation
        The relation.
    """
    lines = [f"{entry.id}: {entry.title}", ""]
    lines += _field("source", f"{entry.source} ({PROVENANCE_WORDS[entry.provenance]})")
    if entry.closure:
        lines += _field("kind", "engineering closure: a form chosen to join known anchors, not a published fit")
    lines += _field("one sigma", str(entry.band))
    for name, (low, high) in entry.valid.items():
        end = f"to {high:g}" if np.isfinite(high) else "and above"
        lines += _field("valid", f"{name} {low:g} {end} {unit_of(name) or ''}".rstrip())
    signature = ", ".join(inspect.signature(entry.function).parameters)
    lines += _field("function", f"{entry.function.__module__}.{entry.function.__name__}({signature})")
    return "\n".join([*lines, "", inspect.getdoc(entry.function) or ""])


def _field(head: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=f"  {head:<10} ", subsequent_indent=" " * 13)

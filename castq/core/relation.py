"""The register of published relations: who said it, how far it holds, and how wide its error band is.

A relation is one pure, vectorised function. The decorator enters it in `REGISTRY` and, while a `Trace` is
open, notes each use and each row that lies outside the relation's range.
"""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any, Literal, ParamSpec, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

P = ParamSpec("P")
R = TypeVar("R")

Provenance = Literal["read", "memory", "derived", "practice"]
PROVENANCE_WORDS: dict[str, str] = {
    "read": "read in the source named",
    "memory": "from memory, not re-read",
    "derived": "derived or fitted here from the source named",
    "practice": "common practice, no source",
}

# A value may leave the range by this share of its width and still be used, with a wider band.
EDGE_SHARE = 0.10
# Beyond this share of the width no number is given any weight.
FAR_SHARE = 0.50
STATES: tuple[str, ...] = ("inside", "edge", "outside", "far")


@dataclass(frozen=True, slots=True)
class Band:
    """One-sigma error band of a relation.

    Attributes
    ----------
    kind : {"exact", "relative", "absolute", "factor"}
        How `one_sigma` is meant: share of the value, absolute amount, or multiply/divide factor.
    one_sigma : float
        Size of one standard deviation; 0 for an identity or a closed form.
    unit : str
        Unit of an absolute band.
    note : str
        Where the band comes from, in a few words.
    """

    kind: Literal["exact", "relative", "absolute", "factor"]
    one_sigma: float = 0.0
    unit: str = ""
    note: str = ""

    def __str__(self) -> str:
        text = {
            "exact": "exact",
            "relative": f"±{100 * self.one_sigma:g} %",
            "absolute": f"±{self.one_sigma:g} {self.unit}",
            "factor": f"×/÷ {self.one_sigma:g}",
        }[self.kind]
        return f"{text} ({self.note})" if self.note else text


EXACT = Band("exact")


@dataclass(frozen=True, slots=True)
class Relation:
    """A registered relation: its card.

    Attributes
    ----------
    id : str
        Short name used in reports, for example `sdas-cube-root-time`.
    title, source : str
        What it gives, and where it comes from (author, year, place) in words.
    provenance : Provenance
        Whether the source was read, remembered, derived from, or is common practice.
    valid : mapping of argument name to (low, high)
        Range of each bounded argument, in the unit that its name ends in.
    band : Band
        One-sigma error band.
    closure : bool
        True for an engineering closure: a form chosen to join known anchors, not a published fit.
    function : callable
        The function itself.
    """

    id: str
    title: str
    source: str
    provenance: Provenance
    valid: Mapping[str, tuple[float, float]]
    band: Band
    closure: bool
    function: Callable[..., Any]

    def to_dict(self) -> dict[str, Any]:
        """Return the card as plain data."""
        return {
            "id": self.id,
            "title": self.title,
            "source": self.source,
            "provenance": self.provenance,
            "closure": self.closure,
            "band": str(self.band),
            "valid": {name: [x if np.isfinite(x) else None for x in ends] for name, ends in self.valid.items()},
            "function": f"{self.function.__module__}.{self.function.__name__}",
            "arguments": list(inspect.signature(self.function).parameters),
        }


REGISTRY: dict[str, Relation] = {}


@dataclass
class Trace:
    """What was used while the trace was open: relation ids, and rows outside a relation's range.

    Arrays given to relations have one row a zone (axis 0) and, if two-dimensional, one column a draw. A row is
    judged by its median draw.
    """

    used: dict[str, int] = field(default_factory=dict)
    excursions: dict[tuple[str, str], NDArray[np.int8]] = field(default_factory=dict)

    def note(self, entry: Relation, arguments: Mapping[str, Any]) -> None:
        """Record one use of a relation."""
        self.used[entry.id] = self.used.get(entry.id, 0) + 1
        for name, limits in entry.valid.items():
            if name in arguments:
                rows = row_states(arguments[name], limits)
                if rows.any():
                    before = self.excursions.get((entry.id, name), np.zeros(1, dtype=np.int8))
                    self.excursions[entry.id, name] = np.maximum(before, rows)


def row_states(values: ArrayLike, limits: tuple[float, float]) -> NDArray[np.int8]:
    """Return for each row an index into `STATES`: how far its median lies outside the limits.

    A missing value (NaN) counts as inside: what rests on it is missing too. An open upper end is written as infinity.
    """
    low, high = limits
    array = np.asarray(values, dtype=float)
    if array.size and array.min() >= low and array.max() <= high:
        return np.zeros(1, dtype=np.int8)
    rows = np.median(array, axis=-1) if array.ndim > 1 else np.atleast_1d(array)
    width = high - low if np.isfinite(high) else max(abs(low), 1.0)
    # Below a wide range that begins near zero, what is under half of its lower end is no longer at its edge.
    below = min(width, 0.5 * low / EDGE_SHARE) if low > 0.0 else width
    excess = np.maximum((low - rows) / below, (rows - high) / width)
    states = np.zeros(rows.shape, dtype=np.int8)
    states[excess > 0] = 1
    states[excess > EDGE_SHARE] = 2
    states[excess > FAR_SHARE] = 3
    return states


_TRACE: ContextVar[Trace | None] = ContextVar("castq_trace", default=None)


@contextmanager
def trace() -> Iterator[Trace]:
    """Open a trace: every relation called inside the block is noted in it."""
    opened = Trace()
    token = _TRACE.set(opened)
    try:
        yield opened
    finally:
        _TRACE.reset(token)


def relation(
    *,
    id: str,
    title: str,
    source: str,
    provenance: Provenance,
    band: Band,
    valid: Mapping[str, tuple[float, float]] | None = None,
    closure: bool = False,
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Enter the decorated function in the register under `id`.

    Raises
    ------
    ValueError
        If the id is taken, the source is empty or a range names no argument (a fault of the code, not the user).
    """

    def enter(function: Callable[P, R]) -> Callable[P, R]:
        signature = inspect.signature(function)
        unknown = set(valid or {}) - set(signature.parameters)
        if id in REGISTRY or not source.strip() or unknown:
            raise ValueError(f"relation {id}: taken, without source, or range for unknown {sorted(unknown)}")

        @functools.wraps(function)
        def traced(*args: P.args, **kwargs: P.kwargs) -> R:
            opened = _TRACE.get()
            if opened is not None:
                bound = signature.bind(*args, **kwargs)
                bound.apply_defaults()
                opened.note(REGISTRY[id], bound.arguments)
            return function(*args, **kwargs)

        REGISTRY[id] = Relation(id, title, source, provenance, dict(valid or {}), band, closure, traced)
        return traced

    return enter

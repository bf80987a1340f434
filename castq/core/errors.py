"""The one tree of errors that castq raises, and the exit code each one ends in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

EXIT_DONE = 0
EXIT_VERDICT_NEGATIVE = 1
EXIT_BAD_INPUT = 2
EXIT_FAULT = 3


def plain(text: object, limit: int = 200) -> str:
    """Return text as one printable line: control characters become spaces, long text is cut."""
    line = "".join(c if c.isprintable() else " " for c in str(text))
    line = " ".join(line.split())
    return line if len(line) <= limit else line[: limit - 3] + "..."


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with an input: what, where, and how to mend it.

    Attributes
    ----------
    source : str
        File name or option that holds the fault.
    place : str
        Line, row, key or facet inside the source; empty when the whole source is meant.
    found : str
        What castq found there.
    expected : str
        What it allows.
    mend : str
        What the user can do about it.
    """

    source: str
    place: str
    found: str
    expected: str
    mend: str

    def __str__(self) -> str:
        where = plain(self.source) + (f", {plain(self.place)}" if self.place else "")
        parts = [f"{where}: {plain(self.found)}"]
        if self.expected:
            parts.append(f"expected {plain(self.expected)}")
        if self.mend:
            parts.append(plain(self.mend))
        return "; ".join(parts)

    def to_dict(self) -> dict[str, str]:
        """Return the fault as a dict of strings."""
        return {name: getattr(self, name) for name in self.__slots__}


class CastqError(Exception):
    """Base of everything castq raises on purpose."""

    exit_code = EXIT_FAULT


class InputError(CastqError):
    """The input is wrong; carries every fault found, so that all can be mended at once."""

    exit_code = EXIT_BAD_INPUT

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def input_error(source: str | Path, place: str, found: str, expected: str = "", mend: str = "") -> InputError:
    """Return an `InputError` with a single fault (raise it yourself)."""
    return InputError(Fault(str(source), place, found, expected, mend))


def nearest(word: str, choices: Sequence[str]) -> str:
    """Return a hint naming the closest allowed words, or all of them when none is close."""
    import difflib

    by_lower = {choice.lower(): choice for choice in choices}
    close = difflib.get_close_matches(word.lower(), list(by_lower), n=3, cutoff=0.5)
    if close:
        return "did you mean " + " or ".join(by_lower[c] for c in close) + "?"
    return "use one of: " + ", ".join(choices)

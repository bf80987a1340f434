"""Levers and ranges as people write them: `spoke thickness = 24..32 mm`."""

from __future__ import annotations

from collections.abc import Sequence

from castq.core.errors import InputError, input_error, plain
from castq.core.quantities import KINDS, is_quantity, parse_quantity
from castq.screening.improve import Ends
from castq.screening.lever_table import levers_of
from castq.screening.levers import Lever, State, find_lever

OPTION = "--over"
EXAMPLE = '--over "spoke_thickness=18..24 mm"'
SOURCE = "command line"


def read_ranges(texts: Sequence[str], state: State) -> tuple[Ends, ...]:
    """Return levers with the values they go between.

    Parameters
    ----------
    texts : sequence of str
        Each `lever=low..high unit`; both ends may have their own unit.
    state : State
        The case.

    Raises
    ------
    InputError
        If a lever is not known or named twice, or a range cannot be read, runs backwards or leaves what is tried.
    """
    found: dict[str, Ends] = {}
    for text in texts:
        ends = _read(text, state)
        if ends.lever.name in found:
            raise _error(f"'{ends.lever.name}' is given twice", "", "keep one of the two")
        found[ends.lever.name] = ends
    return tuple(found.values())


def _read(text: str, state: State) -> Ends:
    name, _, span = text.partition("=")
    low, dots, high = span.partition("..")
    levers, left_out = levers_of(state)
    lever = find_lever(name.strip(), levers, left_out, OPTION)
    if not (low.strip() and dots and high.strip()):
        raise _error(f"'{plain(text, 60)}' is not a range", "lever=low..high unit", f"write for example {EXAMPLE}")
    upper = parse_quantity(high, lever.kind, SOURCE, OPTION)
    lower = parse_quantity(_with_unit(low, high, lever.kind), lever.kind, SOURCE, OPTION)
    if lower >= upper:
        raise _error(f"{lever.name} runs from {low.strip()} to {high.strip()}", "the lower end first", "exchange them")
    _check_range(lever, lower, upper, state)
    return Ends(lever, lower, upper)


def _with_unit(low: str, high: str, kind: str) -> str:
    """Return the low end with the unit of the high end when it has none of its own."""
    return low if is_quantity(low, kind) else low.strip() + " " + high.strip().lstrip("+-0123456789.,eE ").strip()


def _check_range(lever: Lever, low: float, high: float, state: State) -> None:
    least, most = lever.range(state)
    present, unit = lever.value(state), KINDS[lever.kind].base
    if low < min(least, present) - 1e-9 or high > max(most, present) + 1e-9:
        raise _error(
            f"{lever.name} {low:g} to {high:g} {unit} leaves what is tried",
            f"{least:g} to {most:g} {unit} (present {present:g})", "narrow the range",
        )  # fmt: skip


def _error(found: str, expected: str, mend: str) -> InputError:
    return input_error(SOURCE, OPTION, found, expected, mend)

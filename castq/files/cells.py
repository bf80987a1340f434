"""Cells that hold a measure: number and unit taken apart, odd characters named, wrong units guessed aloud."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from castq.core.errors import Fault, input_error
from castq.core.quantities import KINDS, Kind, parse_number, parse_quantity

_NUMBER = r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?"
_SPACES = {0xA0: " ", 0x202F: " ", 0x2009: " "}
_UNIT_SIGNS = "µμ°²³"
_TWO_MARKS = re.compile(r"[+-]?[0-9]{1,3}([.,' ])[0-9]{3}.*")


@dataclass(frozen=True, slots=True)
class Measure:
    """What a column of measures may hold: kind of unit, smallest and largest value in the base unit of the kind."""

    kind: str
    low: float
    high: float


def odd_character(character: str) -> str:
    """Return code point and name of a character."""
    return f"U+{ord(character):04X} {unicodedata.name(character, 'a control character')}"


def read_measure(text: str, measure: Measure, unit: str, source: str, place: str) -> float:
    """Return a cell as a number in the base unit of its kind; NaN when the cell is empty.

    Parameters
    ----------
    text : str
        The cell.
    measure : Measure
        What the column may hold.
    unit : str
        Unit given in the header; empty when none is.
    source, place : str
        File and cell, for messages.

    Raises
    ------
    InputError
        If the cell is not one number with a known unit, or is out of range.
    """
    written = text.translate(_SPACES).strip()
    if not written:
        return float("nan")
    kind = KINDS[measure.kind]
    _refuse_odd_marks(written, kind, source, place)
    if re.fullmatch(_NUMBER, written):
        if not unit:
            raise input_error(
                source,
                place,
                f"'{written}' has no unit",
                f"a quantity such as {kind.example}",
                f"add the unit here or in the header, for example section_{kind.base}",
            )
        scale = kind.units[unit]
        value = (parse_number(written, source, place) + scale.shift) * scale.factor
    elif re.fullmatch(_NUMBER + r"\s*[a-zA-Zµμ°]+[23²³]?", written) or not unit:
        value = parse_quantity(written.replace("μ", "µ"), measure.kind, source, place)
    else:
        value = parse_number(written, source, place)
    if not measure.low <= value <= measure.high:
        raise input_error(
            source,
            place,
            f"'{written}' is {value:g} {kind.base}, out of range",
            f"{measure.low:g} to {measure.high:g} {kind.base}",
            _guess(value, measure),
        )
    return value


def _refuse_odd_marks(written: str, kind: Kind, source: str, place: str) -> None:
    """Raise `InputError` for a character that no number holds, and for two kinds of mark in one number."""
    for character in written:
        if not character.isascii() and character not in _UNIT_SIGNS:
            raise input_error(
                source,
                place,
                f"'{written}' holds {odd_character(character)}",
                "plain digits",
                "type the number again on a keyboard",
            )
    digits = re.match(r"[^a-zA-Zµμ°]*", written)
    if digits and _TWO_MARKS.fullmatch(digits.group()) and re.search(r"[.,' ][0-9]{3}[.,]", digits.group()):
        raise input_error(
            source,
            place,
            f"'{written}' has a thousands mark and a decimal mark",
            "a plain number",
            f"write it without a thousands mark, for example {kind.example}",
        )


def _guess(value: float, measure: Measure) -> str:
    """Return which slip of unit would explain a value out of range."""
    base = KINDS[measure.kind].base
    meant = [
        f"{name} ({value * unit.factor:g} {base})"
        for name, unit in KINDS[measure.kind].units.items()
        if name in ("cm", "m", "inch", "dm3", "mm3") and measure.low <= value * unit.factor <= measure.high
    ]
    return "is it in " + " or ".join(meant) + "?" if meant else "check the value and its unit"


def mixed_decimals(cells: Sequence[tuple[int, str]], source: str) -> list[Fault]:
    """Return a fault when some numbers of a file have a decimal comma and others a decimal point.

    Parameters
    ----------
    cells : sequence of (int, str)
        Row number and text of every cell that holds a measure.
    source : str
        File, for the message.
    """
    comma = next((cell for cell in cells if re.match(r"[+-]?[0-9]*,[0-9]", cell[1])), None)
    point = next((cell for cell in cells if re.match(r"[+-]?[0-9]*\.[0-9]", cell[1])), None)
    if comma is None or point is None:
        return []
    return [
        Fault(
            source,
            f"row {max(comma, point)[0]}",
            f"'{comma[1]}' has a decimal comma, '{point[1]}' a decimal point",
            "one of the two in a file",
            "write every number with a decimal point",
        )
    ]

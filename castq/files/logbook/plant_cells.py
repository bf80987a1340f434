"""Cells of a plant's table: numbers with the stated mark, words with a stated meaning, times of a stated clock."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from typing import TypeVar

from castq.core.errors import nearest, plain
from castq.core.quantities import Unit, parse_number
from castq.files.cells import odd_character
from castq.files.logbook.fields import Field
from castq.files.logbook.mapping import From, TableMapping, TimeFrom
from castq.files.logbook.plant_table import UNREADABLE

_NUMBERS = {mark: re.compile(rf"[+-]?[0-9]+(?:{re.escape(mark)}[0-9]+)?(?:[eE][+-]?[0-9]{{1,3}})?") for mark in ",."}
_MARK_WORDS = {",": "comma", ".": "point"}
_MOST_DIGITS = 30
_FIRST_YEAR = 1990
Key = TypeVar("Key", bound=Hashable)
Out = TypeVar("Out")


@dataclass(frozen=True, slots=True)
class Bad:
    """Why a cell cannot be read, and how to mend it."""

    reason: str


Value = float | str | None | Bad


def each_once(read: Callable[[Key], Out], cells: Iterable[Key]) -> list[Out]:
    """Return what `read` makes of each cell; what stands in many cells is read once."""
    cells = list(cells)
    known = {cell: read(cell) for cell in set(cells)}
    return [known[cell] for cell in cells]


def field_values(one: From, field: Field, texts: Sequence[str], mapping: TableMapping) -> list[Value]:
    """Return the values of a field for each row: number, text, None for an empty cell, or what is wrong.

    Parameters
    ----------
    one : From
        Where it comes from.
    field : Field
        What it is.
    texts : sequence of str
        Cells of its column; of a constant, one text for each row.
    mapping : TableMapping
        Marks and words of the plant.

    Raises
    ------
    InputError
        If a constant is no number.
    """
    unit = field.units.get(one.unit, Unit(1.0))
    if one.constant and field.is_number:
        value = parse_number(one.constant, mapping.name, "constant")
        return [(value + unit.shift) * unit.factor] * len(texts)
    if one.constant:
        return [one.constant] * len(texts)
    if field.is_number:
        return each_once(lambda text: _number(_cleaned(text, mapping), mapping.mark, unit), texts)
    return each_once(lambda text: _word(_cleaned(text, mapping), one.values, field), texts)


def _cleaned(text: str, mapping: TableMapping) -> str:
    text = text if text.startswith(UNREADABLE) else " ".join(text.split())
    return "" if text in mapping.blank else text


def is_blank(text: str, mapping: TableMapping) -> bool:
    """Return whether a cell holds nothing, or what the plant writes for nothing."""
    return not _cleaned(text, mapping)


def _number(text: str, mark: str, unit: Unit) -> Value:
    if not text:
        return None
    if not _NUMBERS[mark].fullmatch(text) or len(text) > _MOST_DIGITS:
        return Bad(_why_no_number(text, mark))
    value = (float(text.replace(mark, ".")) + unit.shift) * unit.factor
    return value if math.isfinite(value) else Bad(f"'{text}' is not finite; write a number of usual size")


def _why_no_number(text: str, mark: str) -> str:
    if text.startswith(UNREADABLE):
        return f"holds {plain(text[1:], 60)}; save the workbook again with values"
    shown, other = f"'{plain(text, _MOST_DIGITS)}'", "." if mark == "," else ","
    odd = next((letter for letter in text if not letter.isascii() and letter not in "µμ°²³"), "")
    if odd:
        return f"{shown} holds {odd_character(odd)}; type plain digits"
    marks = set(re.findall(r"[.,' ]", re.sub(r"[a-zA-Z%/°µμ²³].*", "", text).strip()))
    if len(marks) > 1 or text.count(mark) > 1:
        return f"{shown} has a thousands mark; write the number without it"
    if other in marks:
        stated = _MARK_WORDS[mark]
        return f"{shown} has a {_MARK_WORDS[other]}, the mapping states a decimal {stated}; write it with a {stated}"
    if re.match(r"[+-]?[0-9][0-9.,]*\s*[a-zA-Z%°µμ]", text):
        return f"{shown} carries a unit or a letter; leave the number alone, the unit stands in the mapping"
    return f"{shown} is not a number with a decimal {_MARK_WORDS[mark]}; mend the cell, or leave it empty"


def _word(text: str, values: Mapping[str, str], field: Field) -> Value:
    if not text:
        return None
    if text.startswith(UNREADABLE):
        return Bad(f"holds {plain(text[1:], 60)}; save the workbook again with values")
    if values and text not in values:
        return Bad(f"'{plain(text, 60)}' has no meaning in the mapping; {nearest(text, list(values))}")
    meant = values.get(text, text)
    if field.choices and meant not in field.choices:
        return Bad(f"'{plain(text, 60)}' is not known here; say under values which of {', '.join(field.choices)} it is")
    hidden = next((letter for letter in meant if not letter.isprintable()), "")
    return Bad(f"holds {odd_character(hidden)}; type it again") if hidden else meant


def moments(time: TimeFrom, texts: Sequence[tuple[str, ...]]) -> list[datetime | Bad]:
    """Return the times of rows, each with its offset from UTC, or what is wrong.

    Parameters
    ----------
    time : TimeFrom
        How the table writes them.
    texts : sequence of tuple of str
        The cells that make up each time.
    """
    zones: dict[timedelta, timezone] = {}
    written = " ".join(time.formats)
    return each_once(lambda cells: _moment(time, written, cells, zones), texts)


def _moment(time: TimeFrom, written: str, cells: tuple[str, ...], zones: dict[timedelta, timezone]) -> datetime | Bad:
    text = " ".join(" ".join(cell.split()) for cell in cells)
    if not all(cell.strip() for cell in cells):
        return Bad("is empty; enter when it was")
    try:
        moment = datetime.strptime(text, written)
    except ValueError:
        return Bad(_why_no_time(text, written))
    if moment.year < _FIRST_YEAR:
        return Bad(f"'{plain(text, 40)}' is in the year {moment.year}; check the date and the format {written}")
    if time.zone is None:
        return moment
    first, second = (moment.replace(tzinfo=time.zone, fold=fold) for fold in (0, 1))
    offset = second.utcoffset() if time.fold else first.utcoffset()
    if first.utcoffset() != second.utcoffset():
        if first.astimezone(UTC).astimezone(time.zone).replace(tzinfo=None) != moment:
            return Bad(f"'{text}' never was in {time.zone}: the clock was put forward over it; check the hour")
        if time.fold is None:
            return Bad(f"'{text}' was twice in {time.zone}, the clock was put back; state fold = first or second")
    offset = offset or timedelta(0)
    return moment.replace(tzinfo=zones.setdefault(offset, timezone(offset)))


def _why_no_time(text: str, written: str) -> str:
    if text.startswith(UNREADABLE):
        return f"holds {plain(text[1:], 60)}; save the workbook again with values"
    shown = f"'{plain(text, 40)}'"
    if "%z" in written and not re.search(r"([+-]\d\d:?\d\d|Z)$", text):
        return f"{shown} has no offset from UTC, the mapping states {written}; add it, as in +01:00"
    if "%z" not in written and re.search(r"\d([+-]\d\d:?\d\d|Z)$", text):
        return f"{shown} carries an offset from UTC, the mapping states {written}; write all times in one way"
    return f"{shown} is not a time written as {written}; mend it, or state the format"

"""Strict reading of TOML: every key is taken by name and type, every fault is collected, nothing is ignored."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from castq.core.errors import Fault, InputError, input_error, nearest, plain
from castq.core.quantities import KINDS, parse_quantity

_TYPE_WORDS: dict[type, str] = {
    bool: "true/false",
    int: "a number",
    float: "a number",
    str: "text",
    list: "a list",
    dict: "a table",
}


def parse_toml(raw: bytes, source: str) -> dict[str, Any]:
    """Return TOML text as a dict; what the parser says is turned into one sentence with the line.

    Raises
    ------
    InputError
        If the bytes are not UTF-8 TOML, hold a key twice, or are nested or numbered beyond reason.
    """
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        line = raw[: exc.start].count(b"\n") + 1
        raise input_error(
            source, f"line {line}", "holds a byte that is not UTF-8", "UTF-8 text", "save the file as UTF-8"
        ) from exc
    try:
        return tomllib.loads(text)
    except RecursionError as exc:
        raise input_error(source, "", "lists or tables are nested too deeply", "", "write them flat") from exc
    except ValueError as exc:
        raise _translated(str(exc), text, source) from exc


def _translated(message: str, text: str, source: str) -> InputError:
    """Return the parser's message as a fault in plain words."""
    found = re.search(r"at line (\d+)", message)
    number = int(found.group(1)) if found else 0
    place = f"line {number}" if number else ""
    shown = text.splitlines()[number - 1].strip()[:60] if 0 < number <= len(text.splitlines()) else ""
    if "overwrite" in message or "twice" in message or "mutate" in message or "redefine" in message:
        words, mend = "a key or table is given twice", "keep one of the two"
    elif "integer string conversion" in message:
        words, mend = "a number has thousands of digits", "write a number of usual length"
    else:
        words = re.sub(r"\s*\(at [^)]*\)", "", message)
        mend = 'text and quantities stand in quotes: melt_temp = "705 degC"'
    if shown:
        words += f" near: {shown}"
    return input_error(source, place, words, "", mend)


def type_words(value: object) -> str:
    """Return in words what kind of TOML value this is."""
    return _TYPE_WORDS.get(type(value), "a date or time")


class Table:
    """A TOML table being read: typed access by key, faults collected in one list shared by all its sub-tables."""

    def __init__(self, data: Mapping[str, Any], source: str, place: str, faults: list[Fault]) -> None:
        self.data = data
        self.source = source
        self.place = place
        self.faults = faults
        self.taken: set[str] = set()

    def at(self, key: str) -> str:
        """Return the dotted place of a key."""
        return f"{self.place}.{key}" if self.place else key

    def fault(self, key: str, found: str, expected: str = "", mend: str = "") -> None:
        """Note a fault at a key."""
        self.faults.append(Fault(self.source, self.at(key) if key else self.place, found, expected, mend))

    def has(self, key: str) -> bool:
        """Return whether the key is given."""
        return key in self.data

    def _take(self, key: str, wanted: tuple[type, ...], expected: str, mend: str) -> Any:
        """Return the raw value if it has the wanted type, else None (with a fault when it has another)."""
        self.taken.add(key)
        if key not in self.data:
            return None
        value = self.data[key]
        if type(value) in wanted:
            return value
        self.fault(key, f"is {type_words(value)}", expected, mend)
        return None

    def require(self, keys: Iterable[str]) -> None:
        """Note a fault for each missing key."""
        for key in keys:
            if key not in self.data:
                self.fault(key, "is missing", "", f"add {key} = ...")

    def text(self, key: str, choices: Sequence[str] = (), max_length: int = 200) -> str | None:
        """Return a text value, one of `choices` when they are given."""
        value: str | None = self._take(key, (str,), "text in quotes", f'write {key} = "..."')
        if value is None:
            return None
        if not value.strip() or len(value) > max_length or not value.isprintable():
            self.fault(key, "is empty, too long or not printable", f"1 to {max_length} characters", "shorten it")
            return None
        if choices and value not in choices:
            self.fault(key, f"'{plain(value, 60)}' is not known here", "", nearest(value, choices))
            return None
        return value

    def flag(self, key: str) -> bool | None:
        """Return a true/false value."""
        value: bool | None = self._take(key, (bool,), "true or false", f"write {key} = true, without quotes")
        return value

    def number(self, key: str, low: float, high: float, unit: str = "") -> float | None:
        """Return a plain number within low .. high; its unit is fixed and only named in the message."""
        value = self._take(key, (int, float), "a plain number", "write the number without quotes")
        return None if value is None else self._in_range(key, value, low, high, unit)

    def quantity(self, key: str, kind: str, low: float, high: float) -> float | None:
        """Return a written quantity in the base unit of `kind`, within low .. high of that unit."""
        self.taken.add(key)
        if key not in self.data:
            return None
        return self.quantity_of(key, self.data[key], kind, low, high)

    def quantity_of(self, key: str, written: object, kind: str, low: float, high: float) -> float | None:
        """Return a written quantity that stands at `key`, within low .. high of the base unit of `kind`."""
        example = f'a quantity such as "{KINDS[kind].example}"'
        if type(written) is not str:
            shown = f"{written:g}" if type(written) is float else str(written) if _is_short(written) else ""
            found = f"{shown} has no unit" if shown else f"is {type_words(written)}"
            self.fault(key, found, example, "write the number with its unit, in quotes")
            return None
        try:
            value = parse_quantity(written, kind, self.source, self.at(key))
        except InputError as exc:
            self.faults.extend(exc.faults)
            return None
        return self._in_range(key, value, low, high, KINDS[kind].base)

    def _in_range(self, key: str, value: float, low: float, high: float, unit: str) -> float | None:
        expected = f"{low:g} to {high:g} {unit}".strip()
        if abs(value) > 1e15 or not math.isfinite(value):
            self.fault(key, "is not finite or far too large", expected, "write a finite number of usual size")
            return None
        if not low <= value <= high:
            # 35 written for 0.35 is the slip of the trade: magnesium read in hundredths.
            slip = unit == "wt%" and low <= value / 100 <= high
            mend = f"did you mean {value / 100:g} wt%?" if slip else "check the value and its unit"
            self.fault(key, f"{value:g} {unit}".strip() + " is out of range", expected, mend)
            return None
        return float(value)

    def numbers(self, key: str, low: float, high: float, unit: str = "") -> list[float] | None:
        """Return a list of plain numbers, each within low .. high."""
        value = self._take(key, (list,), "a list of numbers", f"write {key} = [1.0, 2.0]")
        if value is None:
            return None
        if any(type(item) not in (int, float) for item in value):
            self.fault(key, "holds something that is not a number", "a list of numbers", f"write {key} = [1.0, 2.0]")
            return None
        checked = [self._in_range(f"{key}[{i}]", item, low, high, unit) for i, item in enumerate(value)]
        return None if any(item is None for item in checked) else [item for item in checked if item is not None]

    def texts(self, key: str) -> list[str] | None:
        """Return a list of texts."""
        value = self._take(key, (list,), "a list of texts", f'write {key} = ["...", "..."]')
        if value is None:
            return None
        if any(type(item) is not str or not item.strip() or len(item) > 100 for item in value):
            self.fault(key, "holds something that is not a short text", "a list of texts", f'write {key} = ["..."]')
            return None
        return list(value)

    def table(self, key: str) -> Table | None:
        """Return the sub-table at `key`."""
        value = self._take(key, (dict,), "a table", f"write a head line [{self.at(key)}] and its keys below")
        return None if value is None else Table(value, self.source, self.at(key), self.faults)

    def tables(self, key: str) -> list[Table]:
        """Return the list of sub-tables at `key` (empty when it is not given)."""
        value = self._take(key, (list,), "a list of tables", f"write [[{self.at(key)}]] before each one")
        rows = value or []
        if any(type(row) is not dict for row in rows):
            self.fault(key, "is a list of something else", "tables", f"write [[{self.at(key)}]] before each one")
            return []
        return [Table(row, self.source, f"{self.at(key)}[{i + 1}]", self.faults) for i, row in enumerate(rows)]

    def close(self) -> None:
        """Note a fault for each key that nothing has taken: a misspelt key is never ignored."""
        for key in self.data:
            if key not in self.taken:
                hint = nearest(key, sorted(self.taken)) if self.taken else "remove it"
                self.fault(key, "is not a key castq knows", "", hint)


def _is_short(value: object) -> bool:
    """Return whether the value is a whole number short enough to be shown."""
    return type(value) is int and abs(value) < 10**15

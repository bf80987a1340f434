"""Single fields of the page: numbers with either decimal mark, lines of text, times on the plant's wall."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta

from castq.core.errors import Fault, InputError, plain
from castq.core.quantities import parse_number
from castq.page.settings import PlantTime

LINE_LETTERS, NOTE_LETTERS = 60, 200
_COMMA = re.compile(r"[+-]?\d*,\d+")
_TIME = re.compile(r"(\d{1,2})[:.]?(\d{2})(?:\s*([+-])(\d{2}):?(\d{2}))?", re.ASCII)


@dataclass(slots=True)
class Filled:
    """A form as it was filled in, and what is said beside its fields.

    Attributes
    ----------
    values : mapping of field to text
        As typed.
    errors : dict of field to text
        What is wrong with a field; one sentence each.
    read : dict of field to text
        How a number was read where its mark is a comma.
    """

    values: Mapping[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)
    read: dict[str, str] = field(default_factory=dict)

    def typed(self, name: str) -> str:
        """Return what was typed into a field, without space around it."""
        return self.values.get(name, "").strip()

    def wrong(self, name: str, sentence: str) -> None:
        """Note what is wrong with a field; the first thing found stays."""
        self.errors.setdefault(name, sentence[:1].upper() + sentence[1:] + ("" if sentence.endswith(".") else "."))

    def fault(self, name: str, fault: Fault) -> None:
        """Note a fault that castq found beside its field."""
        expected = f"; expected {plain(fault.expected)}" if fault.expected else ""
        mend = f"; {plain(fault.mend)}" if fault.mend else ""
        self.wrong(name, f"{plain(fault.found)}{expected}{mend}")

    def number(self, name: str, unit: str, *, needed: str = "") -> float | None:
        """Return the number in a field; a comma is its decimal mark, and how it was read is noted.

        Parameters
        ----------
        name : str
            Field.
        unit : str
            Unit of the field, for the words.
        needed : str
            What to say when the field is empty; empty when it may be.
        """
        text = self.typed(name)
        if not text:
            if needed:
                self.wrong(name, needed)
            return None
        pointed = text.replace(",", ".") if _COMMA.fullmatch(text) else text
        try:
            value = parse_number(pointed)
        except InputError:
            self.wrong(name, f"'{plain(text, 30)}' is not a number: write it alone, without unit, such as 4.5 or 4,5")
            return None
        if "," in text:
            self.read[name] = f"{plain(text, 30)} read as {pointed} {unit}".strip()
        return value

    def line(self, name: str, what: str, *, needed: bool = True, most: int = LINE_LETTERS) -> str:
        """Return one line of text.

        Parameters
        ----------
        name : str
            Field.
        what : str
            What it is, for the words.
        needed : bool
            False when it may be empty.
        most : int
            Most letters [-].
        """
        text = self.typed(name)
        if needed and not text:
            self.wrong(name, f"{what} is missing")
        elif len(text) > most:
            self.wrong(name, f"{what} is too long: {len(text)} letters, at most {most}")
        elif not text.isprintable():
            self.wrong(name, f"{what} holds something that is no letter: write one plain line")
        else:
            return text
        return ""

    def choice(self, name: str, choices: tuple[str, ...], missing: str) -> str:
        """Return one of the choices; `missing` is said when none is made."""
        text = self.typed(name)
        if text not in choices:
            self.wrong(name, missing)
            return ""
        return text


def taken_at(form: Filled, plant: PlantTime, now: datetime) -> datetime:
    """Return when a sample was taken: now, or the earlier time that was stated.

    Parameters
    ----------
    form : Filled
        The form, with the fields `taken_time` and `taken_day`.
    plant : PlantTime
        Clock and zone of the plant.
    now : datetime
        Time on the plant's wall.
    """
    text, yesterday = form.typed("taken_time"), form.typed("taken_day") == "yesterday"
    if not text:
        if yesterday:
            form.wrong("taken_time", "yesterday at what time? write hours and minutes, such as 23:50")
        return now
    match = _TIME.fullmatch(text)
    if match is None or int(match[1]) > 23 or int(match[2]) > 59:
        form.wrong("taken_time", f"'{plain(text, 20)}' is not a time: write hours and minutes, such as 14:10")
        return now
    day = plant.shown(now).date() - timedelta(days=yesterday)
    moments = plant.moments(day, time(int(match[1]), int(match[2])))
    if match[3]:
        minutes = int(match[4]) * 60 + int(match[5])
        offset = timedelta(minutes=minutes if match[3] == "+" else -minutes)
        moments = tuple(moment for moment in moments if moment.utcoffset() == offset)
    return _one_of(form, moments, now, text)


def _one_of(form: Filled, moments: tuple[datetime, ...], now: datetime, text: str) -> datetime:
    if not moments:
        form.wrong("taken_time", f"the plant's clock never showed {text} that day: it was changed then")
    elif len(moments) > 1:
        both = " or ".join(f"{moment:%H:%M}{_offset(moment)}" for moment in moments)
        form.wrong("taken_time", f"the plant's clock showed {text} twice that day, as it was set back: write {both}")
    elif moments[0] > now:
        found = f"{moments[0]:%H:%M} is later than the plant's clock, which shows {now:%H:%M}"
        form.wrong("taken_time", f"{found}: a sample cannot be taken later; choose yesterday if it was then")
    else:
        return moments[0]
    return now


def _offset(moment: datetime) -> str:
    text = f"{moment:%z}"
    return f"{text[:3]}:{text[3:5]}"

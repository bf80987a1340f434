"""The mapping of a plant's table: which column gives which field, in which unit and marks; all stated, none guessed."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from castq.core.errors import Fault, InputError, nearest, plain
from castq.core.toml_table import Table, parse_toml
from castq.files.logbook.fields import FIELDS, SETTINGS, Field, missing_fields
from castq.files.source import Source, read_source
from castq.materials import alloy as find_alloy

ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "cp1250", "cp1252", "latin-1", "iso-8859-2", "iso-8859-15", "cp437",
             "cp850", "mac-roman", "shift_jis", "cp932", "gb18030", "big5", "euc-kr")  # fmt: skip
SEPARATORS = {";": ";", ",": ",", "|": "|", "tab": "\t"}
MARKS = {"comma": ",", "point": "."}
ORDERS = ("oldest first", "newest first", "none")
FOLDS = {"refuse": None, "first": 0, "second": 1}
_MOST_BYTES = 200_000
_DIRECTIVES = frozenset("YymbBdHIpMSfz")


@dataclass(frozen=True, slots=True)
class From:
    """Where the value of a field comes from.

    Attributes
    ----------
    column : str
        Column of the table; empty for a constant.
    constant : str
        The same text for every row.
    unit : str
        Unit of the numbers; empty where there is none.
    values : mapping of str to str
        What the plant's words mean; empty to take them as they are.
    """

    column: str
    constant: str
    unit: str
    values: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class TimeFrom:
    """How the table writes times.

    Attributes
    ----------
    columns, formats : tuple of str
        One column with date and time, or one for each; and how each is written.
    zone : ZoneInfo or None
        Time zone of the plant's clock; none when each time carries its offset.
    fold : int or None
        Which of two times is meant when the clock is put back: 0 the first, 1 the second, none to refuse such a row.
    order : str
        One of `ORDERS`: how the rows of one furnace follow each other.
    """

    columns: tuple[str, ...]
    formats: tuple[str, ...]
    zone: ZoneInfo | None
    fold: int | None
    order: str


@dataclass(frozen=True, slots=True)
class TableMapping:
    """A mapping.

    Attributes
    ----------
    name : str
        Its file name.
    encoding, separator : str
        Of a CSV; empty when not stated.
    mark : str
        Decimal mark, comma or point.
    sheet : str or None
        Sheet of a workbook.
    blank : frozenset of str
        What the plant writes into a cell that holds nothing.
    time : TimeFrom
        Times.
    kind : From
        Kind of entry.
    fields : mapping
        For each kind, where its fields come from.
    """

    name: str
    encoding: str
    separator: str
    mark: str
    sheet: str | None
    blank: frozenset[str]
    time: TimeFrom
    kind: From
    fields: Mapping[str, Mapping[str, From]]

    @property
    def columns(self) -> tuple[str, ...]:
        """Columns of the table that it reads, each once."""
        fields = [one.column for fields in self.fields.values() for one in fields.values()]
        return tuple(name for name in dict.fromkeys((*self.time.columns, self.kind.column, *fields)) if name)


def measured_fields(kind: str, fields: Mapping[str, From]) -> list[str]:
    """Return the fields that tell whether a row holds anything: numbers from columns, settings aside.

    Parameters
    ----------
    kind : str
        Kind of entry.
    fields : mapping
        Where its fields come from.
    """
    return [
        name for name, one in fields.items() if FIELDS[kind][name].is_number and one.column and name not in SETTINGS
    ]


def read_mapping(path: Path) -> TableMapping:
    """Return a mapping.

    Parameters
    ----------
    path : Path
        TOML file; `propose_mapping` writes one to fill in.

    Raises
    ------
    InputError
        With everything that is not stated, unknown or contradictory.
    """
    source = read_source(path, _MOST_BYTES)
    faults: list[Fault] = []
    data = parse_toml(source.data, source.name)
    _refuse_left_empty(data, source)
    top = Table(data, source.name, "", faults)
    top.require(("file", "time", "kind"))
    about, time, kind = (top.table(key) or Table({}, source.name, key, []) for key in ("file", "time", "kind"))
    about.require(("decimal",))
    mapping = TableMapping(
        name=source.name,
        encoding=about.text("encoding", ENCODINGS) or "",
        separator=SEPARATORS.get(about.text("separator", tuple(SEPARATORS)) or "", ""),
        mark=MARKS.get(about.text("decimal", tuple(MARKS)) or "", ""),
        sheet=about.text("sheet"),
        blank=frozenset(about.texts("blank") or ()),
        time=_time(time),
        kind=_from(kind, Field("kind of entry", choices=tuple(FIELDS), needed=True)),
        fields={name: _fields(part, name) for name in FIELDS if (part := top.table(name)) is not None},
    )
    about.close()
    _check_kinds(top, kind, mapping)
    top.close()
    if faults:
        raise InputError(faults)
    return mapping


def _refuse_left_empty(data: Mapping[str, Any], source: Source) -> None:
    """Refuse a mapping that was not filled in, in one sentence for all of it."""
    empty = list(_left_empty(data, ""))
    if empty:
        shown = ", ".join(empty[:5]) + (f" and {len(empty) - 5} more" if len(empty) > 5 else "")
        raise source.error("", f"left empty: {plain(shown, 180)}", "", "fill them in, or remove what the table has not")


def _left_empty(value: object, place: str) -> Iterator[str]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _left_empty(inner if key else "", f"{place}.{key}".strip("."))
    elif value == "":
        yield place


def _time(table: Table) -> TimeFrom:
    table.require(("column", "format", "order"))
    columns, formats = _one_or_two(table, "column"), _one_or_two(table, "format")
    if columns and formats and len(columns) != len(formats):
        table.fault("format", "there are not as many formats as columns", "one format for each column", "add or remove")
    written = " ".join(formats)
    directives = set(re.findall(r"%(.)", written))
    day, hour = bool(directives & {"d"} and directives & set("mbB") and directives & set("Yy")), "H" in directives
    unknown = sorted(directives - _DIRECTIVES)
    example = "such as %d.%m.%Y %H:%M"
    if written and unknown:
        table.fault(
            "format", f"%{unknown[0]} is not read here", example, "use %Y %m %d %H %M %S, with %z for an offset"
        )
    elif written and not (day and "M" in directives and (hour or directives >= {"I", "p"})):
        table.fault("format", f"'{written}' lacks year, month, day, hour or minute", example, "add what is missing")
    zone = _zone(table, "z" in directives)
    fold = FOLDS.get(table.text("fold", tuple(FOLDS)) or "refuse")
    order = table.text("order", ORDERS) or "none"
    table.close()
    return TimeFrom(columns, formats, zone, fold, order)


def _one_or_two(table: Table, key: str) -> tuple[str, ...]:
    if not isinstance(table.data.get(key), list):
        text = table.text(key)
        return (" ".join(text.split()),) if text else ()
    texts = table.texts(key) or []
    if len(texts) not in {1, 2}:
        table.fault(key, f"holds {len(texts)} texts", "one, or one for the date and one for the time", "mend the list")
    return tuple(" ".join(text.split()) for text in texts)


def _zone(table: Table, offsets: bool) -> ZoneInfo | None:
    name = table.text("zone")
    if offsets:
        if name:
            table.fault("zone", "stands beside %z in the format", "one of the two", "remove the zone")
        return None
    if name is None:
        if not table.has("zone"):
            table.fault("zone", "is missing", "the time zone of the plant's clock, such as Etc/GMT-1",
                        'add zone = "..."; Etc/GMT-1 is one hour ahead of UTC all year')  # fmt: skip
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        hint = nearest(name, sorted(available_timezones()))
        mend = hint if hint.startswith("did") else "write region and city, or Etc/GMT-1 for one hour ahead of UTC"
        table.fault("zone", f"'{plain(name, 60)}' is not a time zone", "a name of the IANA list", mend)
        return None


def _fields(table: Table, kind: str) -> dict[str, From]:
    fields = {name: _from(part, one) for name, one in FIELDS[kind].items() if (part := table.table(name)) is not None}
    for name, why in missing_fields(kind, frozenset(fields)):
        table.fault(name, f"is missing: {why}", FIELDS[kind][name].words, f'add {name} = {{ column = "..." }}')
    if fields and not measured_fields(kind, fields):
        table.fault("", "no measured number comes from a column", "at least one", "name the column of one")
    if "alloy" in fields:
        _check_alloys(table, fields["alloy"])
    table.close()
    return fields


def _check_alloys(table: Table, one: From) -> None:
    for name in filter(None, (one.constant, *one.values.values())):
        try:
            find_alloy(name)
        except InputError as error:
            table.fault("alloy", error.faults[0].found, "", error.faults[0].mend)


def _from(table: Table, field: Field) -> From:
    if table.has("column") == table.has("constant"):
        found = "has a column and a constant" if table.has("column") else "has neither column nor constant"
        table.fault("", found, "one of the two", 'write column = "..." or constant = "..."')
    column, constant = table.text("column") or "", table.text("constant") or ""
    unit = table.text("unit", tuple(field.units)) or ""
    if field.units and not table.has("unit"):
        table.fault("unit", "is missing", "one of " + ", ".join(field.units), "state the unit of the numbers")
    if table.has("unit") and not field.units:
        table.fault("unit", "is given for something that has none", "", "remove it")
    values = _values(table, field)
    if constant and field.choices and constant not in field.choices:
        table.fault("constant", f"'{constant}' is not known here", "", nearest(constant, field.choices))
    table.close()
    return From(" ".join(column.split()), constant, unit, values)


def _values(table: Table, field: Field) -> dict[str, str]:
    part = table.table("values")
    if part is None:
        return {}
    if field.is_number or table.has("constant"):
        table.fault("values", "stands beside a number or a constant", "words of a column", "remove it")
    return {" ".join(word.split()): part.text(word, field.choices) or "" for word in part.data}


def _check_kinds(top: Table, kind: Table, mapping: TableMapping) -> None:
    """Note kinds that rows may have but that have no fields, and fields of kinds that no row has."""
    one = mapping.kind
    named = set(one.values.values()) if one.values else {one.constant} if one.constant else set(FIELDS)
    if one.column and not one.values:
        kind.fault("values", "is missing", "what the words in that column mean",
                   'add values = { "..." = "sample" }')  # fmt: skip
    for name in sorted(named & set(FIELDS)):
        if (one.values or one.constant) and name not in mapping.fields:
            top.fault(name, "is missing", f"where the fields of each {name} come from", f"add a table [{name}]")
    for name in sorted(set(mapping.fields) - named):
        top.fault(name, "is there, but no row is of that kind", "", "name it under kind, or remove it")

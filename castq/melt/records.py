"""Between the records of the melt desk and the plain JSON values in which a log book keeps them.

The time of a record is no part of its payload: the row of the log book holds it, with its offset.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, fields
from datetime import datetime
from types import UnionType
from typing import Any, Literal, get_args, get_origin, get_type_hints

from castq.core.errors import InputError, input_error, nearest
from castq.melt.types import Addition, Air, DensityPair, HydrogenReading, Kinetics, Sample, Treatment

Record = Sample | Treatment | Addition | Air | Kinetics
_TYPES: dict[str, type[Any]] = {
    "sample": Sample, "treatment": Treatment, "addition": Addition, "air": Air, "calibration": Kinetics,
}  # fmt: skip
_TIMES = {Sample: "taken_at", Treatment: "started_at", Addition: "at"}
_PARTS = {"pairs": DensityPair, "readings": HydrogenReading}
# A row has a kind of its own.
_RENAMED: dict[tuple[type[Any], str], str] = {(Addition, "kind"): "added"}
_NOTHING = (None, "", ())


def kind_of(record: Record) -> str:
    """Return the kind of log book entry that a record makes."""
    return next(kind for kind, made in _TYPES.items() if type(record) is made)


def happened_at(record: Record) -> datetime | None:
    """Return when a record happened; none for air and calibrations, which carry no time."""
    name = _TIMES.get(type(record))
    return getattr(record, name) if name else None


def field_names(kind: str) -> tuple[str, ...]:
    """Return the names that the payload of a kind of entry may hold; none for kinds without a record."""
    made = _TYPES.get(kind)
    if made is None:
        return ()
    names = (field.name for field in fields(made) if field.name != _TIMES.get(made))
    return tuple(_RENAMED.get((made, name), name) for name in names)


def payload_of(record: Record) -> dict[str, Any]:
    """Return the values of a record, without its time, for a log book.

    Parameters
    ----------
    record : Sample, Treatment, Addition, Air or Kinetics
        The record.
    """
    return _values(record)


def record_of(kind: str, payload: Mapping[str, Any], at: datetime) -> Record:
    """Return the record that `payload_of` took apart.

    Parameters
    ----------
    kind : str
        Kind of entry.
    payload : mapping
        Its values.
    at : datetime
        When it happened; air and calibrations do not use it.

    Raises
    ------
    InputError
        If a value is missing, unknown or of another type, or the kind has no record.
    """
    made = _TYPES.get(kind)
    if made is None:
        raise input_error("log book entry", "kind", f"'{kind}' has no record", "", nearest(kind, list(_TYPES)))
    time = {_TIMES[made]: at} if made in _TIMES else {}
    record: Record = _built(made, payload, kind, time)
    return record


def _values(record: Any) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for field in fields(record):
        value = getattr(record, field.name)
        if field.name == _TIMES.get(type(record)) or (value in _NOTHING and value == field.default):
            continue
        if field.name in _PARTS:
            value = [_values(part) for part in value]
        values[_RENAMED.get((type(record), field.name), field.name)] = value
    return values


def _built(made: type[Any], payload: object, where: str, given: Mapping[str, Any]) -> Any:
    if not isinstance(payload, Mapping):
        raise _wrong(where, "", "holds no names with values")
    hints, left, values = get_type_hints(made), dict(payload), dict(given)
    for field in fields(made):
        name = _RENAMED.get((made, field.name), field.name)
        if field.name in given:
            continue
        if name in left:
            values[field.name] = _value(left.pop(name), field.name, hints[field.name], where, name)
        elif field.default is MISSING:
            raise _wrong(where, name, "is missing")
    if left:
        raise _wrong(where, str(next(iter(left))), "is not known to this version of castq")
    return made(**values)


def _value(value: Any, field: str, hint: Any, where: str, name: str) -> Any:
    if field in _PARTS:
        if not isinstance(value, list | tuple):
            raise _wrong(where, name, "is not a list")
        return tuple(_built(_PARTS[field], part, f"{where}, {name}", {}) for part in value)
    choices = get_args(hint) if isinstance(hint, UnionType) else (hint,)
    if value is None and type(None) in choices:
        return None
    if float in choices and type(value) in {int, float}:
        return float(value)
    if get_origin(hint) is Literal:
        good = value in get_args(hint)
    else:
        good = type(value) in choices
    if not good:
        raise _wrong(where, name, f"cannot be {value!r}")
    return value


def _wrong(where: str, name: str, found: str) -> InputError:
    return input_error(f"log book entry, {where}", name, found, "", "enter a correction of that row")

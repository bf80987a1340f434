"""From rows of a plant's table to entries that the melt desk accepts; what it does not, is told by row and column."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np

from castq.core.errors import Fault, InputError, input_error
from castq.files.csvrows import Row
from castq.files.logbook.fields import DENSITIES, FIELD_OF, FIELDS, WEIGHTS, Field
from castq.files.logbook.mapping import From, TableMapping, measured_fields
from castq.files.logbook.plant_cells import Bad, Value, field_values, is_blank, moments
from castq.files.logbook.plant_table import PlantTable
from castq.melt.checks import check_addition, check_air, check_samples, check_treatment, density_of_weights
from castq.melt.records import Record, payload_of
from castq.melt.types import Addition, Air, DensityPair, HydrogenReading, Sample, Treatment
from castq.physics.density_index import sample_density

Values = Mapping[str, Any]
# Digits of a density in g/cm3 beyond which no balance tells anything.
_DENSITY_DIGITS = 5
_KIND = Field("kind of entry", choices=tuple(FIELDS))


@dataclass(frozen=True, slots=True)
class Refused:
    """Why a row is refused: its number in the file, the column, and the reason with how to mend it."""

    row: int
    column: str
    reason: str


@dataclass(frozen=True, slots=True)
class Made:
    """What a row says: its number, kind of entry, time with offset, and payload."""

    row: int
    kind: str
    at: datetime
    payload: dict[str, Any]


@dataclass(slots=True)
class Outcome:
    """What became of the rows.

    Attributes
    ----------
    made : list of Made
        Good ones.
    refused : list of Refused
        Reasons, one or more for each row that is refused.
    empty : int
        Rows that hold nothing of what the mapping reads [-].
    """

    made: list[Made] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    empty: int = 0


def read_records(table: PlantTable, mapping: TableMapping) -> Outcome:
    """Return what the rows of a table say.

    Parameters
    ----------
    table : PlantTable
        The table.
    mapping : TableMapping
        What its columns mean.

    Raises
    ------
    InputError
        If a constant of the mapping is no number.
    """
    outcome = Outcome(refused=[Refused(number, "", why) for number, why in table.ragged])
    kinds = field_values(mapping.kind, _KIND, _texts(table, mapping.kind, table.rows), mapping)
    by_kind: dict[str, list[Row]] = {}
    for row, kind in zip(table.rows, kinds, strict=True):
        if isinstance(kind, str):
            by_kind.setdefault(kind, []).append(row)
        elif all(is_blank(row.cells[table.at[name]], mapping) for name in mapping.columns):
            outcome.empty += 1
        else:
            why = kind.reason if isinstance(kind, Bad) else "is empty; say what kind of row it is"
            outcome.refused.append(Refused(row.number, mapping.kind.column, why))
    for kind, rows in by_kind.items():
        _Kind(kind, table, mapping).read(rows, outcome)
    return outcome


def _texts(table: PlantTable, one: From, rows: Sequence[Row]) -> list[str]:
    if one.constant:
        return [""] * len(rows)
    place = table.at[one.column]
    return [row.cells[place] for row in rows]


class _Kind:
    """Reader of the rows of one kind."""

    def __init__(self, kind: str, table: PlantTable, mapping: TableMapping) -> None:
        self.kind, self.table, self.mapping = kind, table, mapping
        self.fields = mapping.fields[kind]
        self.needed = [name for name in self.fields if FIELDS[kind][name].needed]
        self.measured = measured_fields(kind, self.fields)
        self.labels = {name: one.column or f"constant {name}" for name, one in self.fields.items()}
        self.labels |= {
            density: ", ".join(self.labels[name] for name in weights)
            for density, weights in zip(DENSITIES, WEIGHTS, strict=True)
            if weights[0] in self.fields
        }

    def read(self, rows: Sequence[Row], outcome: Outcome) -> None:
        """Add to the outcome what becomes of the rows."""
        columns = {
            name: field_values(one, FIELDS[self.kind][name], _texts(self.table, one, rows), self.mapping)
            for name, one in self.fields.items()
        }
        cells = zip(*(columns[name] for name in self.measured), strict=True)
        filled = [any(value is not None for value in values) for values in cells]
        if WEIGHTS[0][0] in columns:
            columns |= _densities(columns)
        places = [self.table.at[name] for name in self.mapping.time.columns]
        times = moments(self.mapping.time, [tuple(row.cells[place] for place in places) for row in rows])
        names = list(columns)
        for row, at, is_filled, values in zip(rows, times, filled, zip(*columns.values(), strict=True), strict=True):
            if is_filled:
                self._row(row.number, at, dict(zip(names, values, strict=True)), outcome)
            else:
                outcome.empty += 1

    def _row(self, number: int, at: datetime | Bad, values: dict[str, Value], outcome: Outcome) -> None:
        bad = [(self.labels[name], value.reason) for name, value in values.items() if isinstance(value, Bad)]
        bad += [(self.labels[name], "is empty; enter it") for name in self.needed if values[name] is None]
        if isinstance(at, Bad):
            bad.append((", ".join(self.mapping.time.columns), at.reason))
        elif not bad:
            try:
                record = _MAKERS[self.kind](values, at)
            except InputError as error:
                bad = [self._reason(fault) for fault in error.faults]
            else:
                outcome.made.append(Made(number, self.kind, at, payload_of(record)))
        outcome.refused += [Refused(number, column, reason) for column, reason in bad]

    def _reason(self, fault: Fault) -> tuple[str, str]:
        name = FIELD_OF.get(fault.place, fault.place) or fault.source
        parts = [fault.found, f"expected {fault.expected}" if fault.expected else "", fault.mend]
        return self.labels.get(name, ""), "; ".join(part for part in parts if part)


def _densities(columns: Mapping[str, list[Value]]) -> dict[str, list[Value]]:
    """Return both densities by weight: None where no weight is given, what is wrong where only some make sense."""
    return {
        density: _density(columns[air], columns[water], columns["water_temp"])
        for density, (air, water) in zip(DENSITIES, WEIGHTS, strict=True)
    }


def _density(air: list[Value], water: list[Value], temp: list[Value]) -> list[Value]:
    grams, in_water, water_temp = (
        np.array([value if isinstance(value, float) else np.nan for value in values]) for values in (air, water, temp)
    )
    good = (0.0 < in_water) & (in_water < grams) & (0.0 <= water_temp) & (water_temp <= 60.0)
    by_weight = np.round(sample_density(grams[good], in_water[good], water_temp[good]), _DENSITY_DIGITS)
    densities: list[Value] = [None] * len(air)
    for place, density in zip(np.flatnonzero(good).tolist(), by_weight.tolist(), strict=True):
        densities[place] = density
    for place in np.flatnonzero(~good).tolist():
        densities[place] = _one_density(air[place], water[place], temp[place])
    return densities


def _one_density(air: Value, water: Value, temp: Value) -> Value:
    if any(isinstance(value, Bad) for value in (air, water, temp)) or (air is None and water is None):
        return None
    if not (isinstance(air, float) and isinstance(water, float) and isinstance(temp, float)):
        return Bad("one of the weights or the water temperature is empty; enter it")
    try:
        return round(density_of_weights(air, water, temp), _DENSITY_DIGITS)
    except InputError as error:
        fault = error.faults[0]
        return Bad(f"{fault.found}; expected {fault.expected}; {fault.mend}")


def _sample(values: Values, at: datetime) -> Sample:
    pairs: tuple[DensityPair, ...] = ()
    if any(values.get(name) is not None for name in DENSITIES):
        for name in (*DENSITIES, "test_pressure"):
            if values.get(name) is None:
                raise input_error("sample", name, "is empty beside the rest of the pair", "", "enter it")
        in_air, in_vacuum = (values[name] for name in DENSITIES)
        pairs = (DensityPair(in_air, in_vacuum, values["test_pressure"]),)
    readings: tuple[HydrogenReading, ...] = ()
    if values.get("hydrogen") is not None:
        sigma, factor = values.get("hydrogen_sigma"), values.get("alloy_factor")
        readings = (HydrogenReading(values["hydrogen"], sigma, factor),)
    made = Sample(
        at, values["furnace"], values["alloy"], values["melt_temp"], pairs, readings,
        values.get("sampled_by") or "", values.get("after") or "", values.get("note") or "",
    )  # fmt: skip
    check_samples((made,))
    return made


def _treatment(values: Values, at: datetime) -> Treatment:
    made = Treatment(
        values["furnace"], at, values["duration"], values.get("rotor") or "", values["gas"],
        values.get("gas_flow"), values.get("speed"), values.get("melt_mass"),
    )  # fmt: skip
    check_treatment(made)
    return made


def _addition(values: Values, at: datetime) -> Addition:
    added, reaches_wt_pct = values["added"], values.get("reaches")
    reaches = reaches_wt_pct
    if reaches_wt_pct is not None and added not in {"strontium", "refiner", "magnesium"}:
        raise input_error("addition", "reaches", f"says nothing for {added}", "", "leave it empty there")
    if reaches_wt_pct is not None and added == "strontium":
        reaches = round(1e4 * reaches_wt_pct, 6)
    made = Addition(at, values["furnace"], added, values["amount"], reaches)
    check_addition(made)
    return made


def _air(values: Values, _: datetime) -> Air:
    made = Air(values["air_temp"], values.get("humidity"), values.get("dew_point"))
    check_air(made)
    return made


_MAKERS: dict[str, Callable[[Values, datetime], Record]] = {
    "sample": _sample, "treatment": _treatment, "addition": _addition, "air": _air,
}  # fmt: skip

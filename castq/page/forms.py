"""The form of a sample: from its fields to a checked record, with every fault beside the field that it is about."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from castq.core.errors import InputError
from castq.materials import alloy as find_alloy
from castq.materials import alloy_names
from castq.melt.checks import density_of_weights, melt_temp_faults, pair_of_densities, reading_of
from castq.melt.judge import judge
from castq.melt.types import DensityPair, HydrogenReading, MeltTarget, Sample, When
from castq.page.fields import NOTE_LETTERS, Filled, taken_at
from castq.page.settings import PlantTime
from castq.physics.density_index import STANDARD_PRESSURE_MBAR

STATES: Final[tuple[When, ...]] = ("before treatment", "after treatment", "holding")
METHODS: Final = ("densities", "weights", "none")
FIRST_ROWS, MOST_ROWS = 2, 6
DENSITY_FIELDS: Final = ("in_air_g_cm3", "in_vacuum_g_cm3")
WEIGHT_FIELDS: Final = ("air_dry_g", "air_wet_g", "vacuum_dry_g", "vacuum_wet_g")
# Where a fault of a density is shown when it came of two weights: at the second of them.
_SHOWN_AT: Final = {"in_air_g_cm3": "air_wet_g", "in_vacuum_g_cm3": "vacuum_wet_g"}
_HALF: Final = "the other half of this pair is filled in, this is missing"


@dataclass(frozen=True, slots=True)
class SampleForm:
    """The form of a sample, read.

    Attributes
    ----------
    filled : Filled
        What was typed, and what is said of it.
    rows : int
        Rows for pairs to show [-].
    sample : Sample or None
        The record; none when a field is wrong.
    entered_by : str
        Who enters it.
    """

    filled: Filled
    rows: int
    sample: Sample | None = None
    entered_by: str = ""


def rows_of(values: Mapping[str, str]) -> int:
    """Return how many rows for pairs a form shows [-]."""
    text = values.get("rows", "")
    asked = int(text) if text.isascii() and text.isdigit() and len(text) < 3 else FIRST_ROWS
    return min(max(asked, FIRST_ROWS), MOST_ROWS)


def read_sample(values: Mapping[str, str], target: MeltTarget, plant: PlantTime) -> SampleForm:
    """Read a form.

    Parameters
    ----------
    values : mapping of field to text
        As typed.
    target : MeltTarget
        What the melt must meet: a sample that cannot be held against it is refused.
    plant : PlantTime
        Clock and zone of the plant.

    Returns
    -------
    SampleForm
        With the record, or with what is wrong beside each field.
    """
    form, rows, now = Filled(values), rows_of(values), plant.now()
    furnace = _furnace(form)
    alloy = form.choice("alloy", alloy_names(), "choose the alloy")
    state: When = next((s for s in STATES if s == form.typed("after")), "")
    if not state:
        form.wrong("after", "say when it was taken: before or after treatment, or in holding")
    temp_c = _melt_temp(form, alloy)
    pairs, readings = _pairs(form, rows, alloy), _readings(form)
    if not pairs and not readings and not form.errors:
        form.wrong("method", "there is no measurement yet: fill in at least one pair, or a hydrogen reading")
    entered_by = form.line("entered_by", "the name of who took the sample")
    note = form.line("note", "the remark", needed=False, most=NOTE_LETTERS)
    moment = taken_at(form, plant, now)
    if form.errors or temp_c is None:
        return SampleForm(form, rows, None, entered_by)
    sample = Sample(moment, furnace, alloy, temp_c, pairs, readings, entered_by, state, note)
    _judged(form, sample, target)
    return SampleForm(form, rows, None if form.errors else sample, entered_by)


def _furnace(form: Filled) -> str:
    other = form.typed("furnace_other")
    if other:
        return form.line("furnace_other", "the name of the furnace")
    if not form.typed("furnace"):
        form.wrong("furnace", "choose the furnace, or write its name")
    return form.line("furnace", "the furnace")


def _melt_temp(form: Filled, alloy: str) -> float | None:
    temp_c = form.number("melt_temp_c", "°C", needed="the melt temperature is missing")
    if temp_c is not None and alloy:
        for fault in melt_temp_faults(temp_c, find_alloy(alloy), "sample"):
            form.fault("melt_temp_c", fault)
    return temp_c


def _pairs(form: Filled, rows: int, alloy: str) -> tuple[DensityPair, ...]:
    """Return the pairs of the rows that are filled in."""
    method = form.choice("method", METHODS, "choose what was measured")
    used = {"densities": DENSITY_FIELDS, "weights": WEIGHT_FIELDS}.get(method, ())
    _refuse_unused(form, rows, method, used)
    filled = [row for row in range(1, rows + 1) if any(form.typed(f"{name}_{row}") for name in used)]
    if used and not filled and not form.typed("hydrogen_ml_100g"):
        form.wrong(f"{used[0]}_1", "there is no pair yet: fill in at least this one, better two")
    pressure = None
    if filled:
        missing = "the test pressure is missing: read it off the vacuum gauge; 80 mbar is usual, 30 and 100 are in use"
        pressure = form.number("test_pressure_mbar", "mbar", needed=missing)
    water = form.number("water_temp_c", "°C") if method == "weights" else None
    pairs = [_pair(form, row, method, alloy, (pressure, 20.0 if water is None else water)) for row in filled]
    return tuple(pair for pair in pairs if pair is not None)


def _refuse_unused(form: Filled, rows: int, method: str, used: Sequence[str]) -> None:
    """Refuse figures in fields that the chosen way of measuring does not use: one of the two is a slip."""
    for words, names in (("densities", DENSITY_FIELDS), ("weights", WEIGHT_FIELDS)):
        left = any(form.typed(f"{name}_{row}") for row in range(1, rows + 1) for name in names)
        if method and left and names != used:
            form.wrong("method", f"{words} are filled in as well: choose {words} here, or empty those fields")


def _pair(form: Filled, row: int, method: str, alloy: str, around: tuple[float | None, float]) -> DensityPair | None:
    pressure, water = around
    if method == "densities":
        densities = [form.number(f"{name}_{row}", "g/cm³", needed=_HALF) for name in DENSITY_FIELDS]
    else:
        densities = [_weighed(form, row, half, water) for half in ("air", "vacuum")]
    in_air, in_vacuum = densities
    if in_air is None or in_vacuum is None or not alloy:
        return None
    try:
        # The densities are looked at even when the pressure is still missing.
        pair = pair_of_densities(in_air, in_vacuum, STANDARD_PRESSURE_MBAR if pressure is None else pressure, alloy)
        return None if pressure is None else pair
    except InputError as error:
        for fault in error.faults:
            name = _SHOWN_AT.get(fault.place, "") if method == "weights" else ""
            shared = fault.place == "test_pressure_mbar"
            form.fault(fault.place if shared else f"{name or fault.place}_{row}", fault)
        return None


def _weighed(form: Filled, row: int, half: str, water_temp_c: float) -> float | None:
    """Return the density of one sample by its two weights [g/cm3]."""
    names = [f"{half}_dry_g_{row}", f"{half}_wet_g_{row}"]
    dry, wet = (form.number(name, "g", needed=_HALF) for name in names)
    if dry is None or wet is None:
        return None
    try:
        return density_of_weights(dry, wet, water_temp_c)
    except InputError as error:
        for fault in error.faults:
            form.fault(fault.place if fault.place == "water_temp_c" else names[1], fault)
        return None


def _readings(form: Filled) -> tuple[HydrogenReading, ...]:
    value = form.number("hydrogen_ml_100g", "ml/100 g")
    if value is None:
        return ()
    try:
        return (reading_of(value),)
    except InputError as error:
        for fault in error.faults:
            form.fault("hydrogen_ml_100g", fault)
        return ()


def _judged(form: Filled, sample: Sample, target: MeltTarget) -> None:
    """Refuse a sample that castq could not answer, with its fault beside the field."""
    try:
        judge([sample], target, draws=64)
    except InputError as error:
        for fault in error.faults:
            form.fault(fault.place if fault.place in form.values else "method", fault)


def shown_again(values: Mapping[str, str]) -> SampleForm:
    """Return a form with what was typed, unread: to be begun, or filled in further."""
    return SampleForm(Filled(values), rows_of(values))

"""Whether an entry can be meant as it stands: swapped, in another unit, out of order; and how to mend it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from itertools import pairwise

from castq.core.errors import Fault, InputError
from castq.core.quantities import KINDS
from castq.materials import alloy as find_alloy
from castq.materials.types import Alloy
from castq.melt.types import Addition, Air, DensityPair, HydrogenReading, Sample, Treatment
from castq.physics.density_index import sample_density

HIGHEST_MELT_TEMP_C = 900.0
# Alloying moves the pore-free density a little; above this share more than its own density, no metal is there.
_DENSITY_ROOM = 1.015
_LEAST_DENSITY_G_CM3 = 2.2
_LEAST_VACUUM_DENSITY_G_CM3 = 1.0
# A sample frozen under vacuum is never denser than its partner by more than weighing error.
_SWAP_ROOM = 1.003
_PRESSURE_MBAR = (5.0, 300.0)
_HYDROGEN_ML_100G = (0.01, 1.2)
_LONGEST_TREATMENT_MIN = 240.0


def check_samples(samples: Sequence[Sample]) -> None:
    """Raise every fault of the samples of one melt at once.

    Parameters
    ----------
    samples : sequence of Sample
        Samples of one furnace.

    Raises
    ------
    InputError
        With the name of the field and how to mend it.
    """
    if not samples:
        raise InputError(Fault("samples", "", "there is no sample", "at least one", "enter a sample"))
    many = len(samples) > 1
    faults = [
        fault for i, sample in enumerate(samples) for fault in _sample(sample, f"sample {i + 1}" if many else "sample")
    ]
    faults += _same("furnace", [sample.furnace for sample in samples]) + _same("alloy", [s.alloy for s in samples])
    pressures = [pair.test_pressure_mbar for sample in samples for pair in sample.pairs]
    if pressures and max(pressures) > 1.1 * min(pressures):
        found = f"{min(pressures):g} and {max(pressures):g} mbar are mixed"
        faults.append(Fault("samples", "test_pressure_mbar", found, "one test pressure", "judge them apart"))
    faults += time_faults({f"sample {i + 1}, taken_at": sample.taken_at for i, sample in enumerate(samples)}, "samples")
    _raise(faults)


def check_air(air: Air) -> None:
    """Raise every fault of the air; see `check_samples`."""
    faults: list[Fault] = []
    humidity, dew_point = air.relative_humidity_pct, air.dew_point_c
    if not -30.0 <= air.air_temp_c <= 60.0:
        mend = _fahrenheit(air.air_temp_c, -30.0, 60.0) or "check the value"
        faults.append(Fault("air", "air_temp_c", f"{air.air_temp_c:g} degC is out of range", "-30 to 60 degC", mend))
    if humidity is not None and 0.0 < humidity <= 1.0:
        found = f"{humidity:g} % looks like a fraction"
        faults.append(
            Fault(
                "air",
                "relative_humidity_pct",
                found,
                "percent",
                f"write {100.0 * humidity:g} for {100.0 * humidity:g} %",
            )
        )
    if humidity is not None and humidity > 100.0:
        faults.append(
            Fault("air", "relative_humidity_pct", f"{humidity:g} % is above 100", "0 to 100 %", "check the value")
        )
    if dew_point is not None and dew_point > air.air_temp_c + 0.5:
        found = f"{dew_point:g} degC lies above the air temperature {air.air_temp_c:g} degC"
        faults.append(Fault("air", "dew_point_c", found, "at most the air temperature", "check which is which"))
    if humidity is None and dew_point is None:
        mend = "give one of the two, measured at the furnace mouth"
        faults.append(Fault("air", "relative_humidity_pct", "neither humidity nor dew point is given", "", mend))
    _raise(faults)


def check_treatment(treatment: Treatment) -> None:
    """Raise every fault of a treatment; see `check_samples`."""
    faults = time_faults({"started_at": treatment.started_at}, "treatment")
    if treatment.minutes > _LONGEST_TREATMENT_MIN:
        seconds = f"did you mean {treatment.minutes:g} s? write {treatment.minutes / 60.0:g}"
        found = f"{treatment.minutes:g} min is out of range"
        faults.append(Fault("treatment", "minutes", found, f"0 to {_LONGEST_TREATMENT_MIN:g} min", seconds))
    _raise(faults)


def check_addition(addition: Addition) -> None:
    """Raise every fault of an addition; see `check_samples`."""
    faults = time_faults({"at": addition.at}, "addition")
    limits = {"strontium": (5.0, 2000.0, "ppm"), "refiner": (0.0, 0.5, "wt%"), "magnesium": (0.0, 3.0, "wt%")}
    if addition.reaches is not None and addition.kind in limits:
        low, high, unit = limits[addition.kind]
        if not low <= addition.reaches <= high:
            found = f"{addition.reaches:g} {unit} of {addition.kind} is out of range"
            faults.append(
                Fault("addition", "reaches", found, f"{low:g} to {high:g} {unit}", "check the value and its unit")
            )
    _raise(faults)


def check_order(times: Mapping[str, datetime], source: str = "times") -> None:
    """Raise a fault where times, named in the order in which they must follow, run backwards or lack a zone.

    Parameters
    ----------
    times : mapping of name to datetime
        In the order in which they must follow.
    source : str
        What they belong to.

    Raises
    ------
    InputError
        With the name of the field and how to mend it.
    """
    faults = time_faults(times, source)
    names = list(times)
    for before, after in pairwise(names) if not faults else ():
        if times[after] < times[before]:
            shown = times[before].isoformat(" ", "minutes")
            found = f"{times[after].isoformat(' ', 'minutes')} lies before {before} ({shown})"
            faults.append(Fault(source, after, found, "times that go forward", "check date, hour and clock"))
    _raise(faults)


def time_faults(times: Mapping[str, datetime], source: str) -> list[Fault]:
    """Return a fault for each time without a zone: next to zoned ones it cannot be put in order."""
    return [
        Fault(
            source,
            name,
            f"{time.isoformat(' ', 'minutes')} has no time zone",
            "a time with its zone",
            "write for example 2026-03-02T14:10+01:00",
        )
        for name, time in times.items()
        if time.utcoffset() is None
    ]


def pair_of_densities(
    in_air_g_cm3: float, in_vacuum_g_cm3: float, test_pressure_mbar: float | None, alloy_name: str
) -> DensityPair:
    """Return a checked pair; the test pressure must be given, it is never assumed.

    Parameters
    ----------
    in_air_g_cm3, in_vacuum_g_cm3 : float
        Densities of the samples frozen at 1 atm and at the test pressure [g/cm3].
    test_pressure_mbar : float or None
        Test pressure, absolute [mbar].
    alloy_name : str
        Alloy, for its pore-free density.

    Raises
    ------
    InputError
        With the name of the field and how to mend it.
    """
    if test_pressure_mbar is None:
        mend = "read it off the vacuum gauge; 80 mbar is usual, 30 and 100 are in use"
        raise InputError(Fault("pair", "test_pressure_mbar", "is missing", "the absolute test pressure", mend))
    pair = DensityPair(in_air_g_cm3, in_vacuum_g_cm3, test_pressure_mbar)
    _raise(_pair(pair, "pair", find_alloy(alloy_name)))
    return pair


def density_of_weights(air_g: float, water_g: float, water_temp_c: float = 20.0, place: str = "sample") -> float:
    """Return the density of a sample by its two weights, refusing weights that are swapped [g/cm3].

    Parameters
    ----------
    air_g, water_g : float
        Readings of the balance in air and in water [g].
    water_temp_c : float
        Water temperature [degC].
    place : str
        Which sample, for the message.

    Raises
    ------
    InputError
        With the name of the field and how to mend it.
    """
    faults = []
    if not 0.0 < water_g < air_g:
        found = f"{water_g:g} g in water, {air_g:g} g in air"
        mend = "swap the two weights" if 0.0 < air_g < water_g else "weigh again"
        faults.append(Fault(place, "water_g", found, "less in water than in air", mend))
    if not 0.0 <= water_temp_c <= 60.0:
        mend = _fahrenheit(water_temp_c, 0.0, 60.0) or "check the value"
        faults.append(Fault(place, "water_temp_c", f"{water_temp_c:g} degC is out of range", "0 to 60 degC", mend))
    _raise(faults)
    return float(sample_density(air_g, water_g, water_temp_c))


def reading_of(
    hydrogen: float, unit: str = "ml/100g", one_sigma_ml_100g: float | None = None, alloy_factor: float | None = None
) -> HydrogenReading:
    """Return a checked reading in ml/100g; another unit is refused with the converted value.

    Parameters
    ----------
    hydrogen : float
        Value shown [unit].
    unit : str
        Unit shown.
    one_sigma_ml_100g : float or None
        Standard deviation [ml/100g].
    alloy_factor : float or None
        Alloy factor set in the instrument [-].

    Raises
    ------
    InputError
        With the name of the field and how to mend it.
    """
    units = KINDS["hydrogen_ml_100g"].units
    if unit not in units or units[unit].factor != 1.0:
        known = f"write {hydrogen * units[unit].factor:.3g} ml/100g" if unit in units else "convert it to ml/100g"
        raise InputError(
            Fault("reading", "hydrogen_ml_100g", f"{hydrogen:g} {unit} is in another unit", "ml/100g", known)
        )
    reading = HydrogenReading(hydrogen, one_sigma_ml_100g, alloy_factor)
    _raise(_reading(reading, "reading"))
    return reading


def _raise(faults: Sequence[Fault]) -> None:
    if faults:
        raise InputError(faults)


def _same(name: str, values: Sequence[str]) -> list[Fault]:
    different = sorted(set(values))
    if len(different) < 2:
        return []
    return [Fault("samples", name, f"{' and '.join(different[:2])} are mixed", f"one {name}", "judge them apart")]


def _sample(sample: Sample, source: str) -> list[Fault]:
    metal = find_alloy(sample.alloy)
    faults = melt_temp_faults(sample.melt_temp_c, metal, source)
    if not sample.pairs and not sample.readings:
        faults.append(
            Fault(source, "pairs", "holds no measurement", "a density pair or a hydrogen reading", "enter one")
        )
    for i, pair in enumerate(sample.pairs):
        faults += _pair(pair, f"{source}, pair {i + 1}", metal)
    for i, reading in enumerate(sample.readings):
        faults += _reading(reading, f"{source}, reading {i + 1}")
    return faults


def melt_temp_faults(temp_c: float, metal: Alloy, source: str) -> list[Fault]:
    """Return the fault of a melt temperature [degC] that is below the liquidus, too hot, or in another unit."""
    low = metal.liquidus_c
    if low <= temp_c <= HIGHEST_MELT_TEMP_C:
        return []
    expected = f"{low:g} (liquidus of {metal.id}) to {HIGHEST_MELT_TEMP_C:g} degC"
    kelvin = (
        f"{temp_c:g} K is {temp_c - 273.15:.0f} degC: write that"
        if low <= temp_c - 273.15 <= HIGHEST_MELT_TEMP_C
        else ""
    )
    mend = _fahrenheit(temp_c, low, HIGHEST_MELT_TEMP_C) or kelvin or "check the thermocouple and the entry"
    found = f"{temp_c:g} degC is {'below the liquidus' if temp_c < low else 'too hot for a melt'}"
    return [Fault(source, "melt_temp_c", found, expected, mend)]


def _fahrenheit(value: float, low_c: float, high_c: float) -> str:
    """Return what a value would be if it were meant in degrees Fahrenheit, when that is plausible."""
    celsius = (value - 32.0) / 1.8
    return f"{value:g} degF is {celsius:.0f} degC: write that" if low_c <= celsius <= high_c and value > high_c else ""


def _pair(pair: DensityPair, source: str, metal: Alloy) -> list[Fault]:
    most = metal.density_cold_kg_m3 / 1000.0 * _DENSITY_ROOM
    faults: list[Fault] = []
    for name, least in (("in_air_g_cm3", _LEAST_DENSITY_G_CM3), ("in_vacuum_g_cm3", _LEAST_VACUUM_DENSITY_G_CM3)):
        value = getattr(pair, name)
        if least <= value <= most:
            continue
        meant_kg_m3 = least <= value / 1000.0 <= most
        words = (
            "looks like kg/m3"
            if meant_kg_m3
            else "lies above pore-free metal"
            if value > most
            else "is too light for this metal"
        )
        mend = f"write {value / 1000.0:.3f}" if meant_kg_m3 else "weigh again, and check the water temperature"
        faults.append(Fault(source, name, f"{value:g} {words}", f"{least:g} to {most:.3f} g/cm3", mend))
    if not faults and pair.in_vacuum_g_cm3 > pair.in_air_g_cm3 * _SWAP_ROOM:
        found = f"{pair.in_vacuum_g_cm3:g} under vacuum is denser than {pair.in_air_g_cm3:g} in air"
        faults.append(
            Fault(
                source,
                "in_vacuum_g_cm3",
                found,
                "at most the density frozen in air",
                "swap the two, or repeat the test",
            )
        )
    low, high = _PRESSURE_MBAR
    if not low <= pair.test_pressure_mbar <= high:
        found = f"{pair.test_pressure_mbar:g} mbar is out of range"
        bar = pair.test_pressure_mbar < 1.0
        mend = (
            f"write {1000.0 * pair.test_pressure_mbar:g} if it is in bar"
            if bar
            else "give the absolute pressure, not the vacuum drawn"
        )
        faults.append(Fault(source, "test_pressure_mbar", found, f"{low:g} to {high:g} mbar, absolute", mend))
    return faults


def _reading(reading: HydrogenReading, source: str) -> list[Fault]:
    low, high = _HYDROGEN_ML_100G
    faults = []
    if not low <= reading.hydrogen_ml_100g <= high:
        found = f"{reading.hydrogen_ml_100g:g} ml/100g is out of range"
        mend = "check the unit: 1 ml/100g is 0.90 ppm by mass, and some instruments show hundredths"
        faults.append(Fault(source, "hydrogen_ml_100g", found, f"{low:g} to {high:g} ml/100g", mend))
    if reading.alloy_factor is not None and not 0.3 <= reading.alloy_factor <= 1.5:
        found = f"{reading.alloy_factor:g} is out of range"
        faults.append(
            Fault(source, "alloy_factor", found, "0.3 to 1.5", "see the setting of the instrument, or leave it out")
        )
    return faults

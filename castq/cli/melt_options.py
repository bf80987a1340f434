"""Options that the melt commands share, and how what is written in them is read."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from castq.core.errors import input_error, plain
from castq.core.quantities import parse_number, parse_quantity

if TYPE_CHECKING:
    from castq.files.logbook.book import LogBook
    from castq.melt.types import Air, DensityPair, HydrogenReading, Kinetics, MeltTarget, Sample

HERE = "command line"
DEFAULT_BOOK = "castq-melts.db"
PLACES = {"before": "before treatment", "after": "after treatment", "holding": "holding"}

BOOK = typer.Option(
    DEFAULT_BOOK, "--book", envvar="CASTQ_BOOK", help="Log book: a file, or postgresql://user@host/name."
)
BY = typer.Option("", "--by", envvar="CASTQ_BY", help="Who enters it; each row of the book says so.")
AT = typer.Option("", "--at", help="When: 2026-11-24T14:10+01:00, or 14:10 for today; now when not given.")
FURNACE = typer.Option("", "--furnace", help="Name of the furnace or ladle, as your plant writes it.")
ALLOY = typer.Option("", "--alloy", help="Alloy, for example AlSi7Mg0.3.")
MELT_TEMP = typer.Option("", "--melt-temp", help='Melt temperature, for example "720 degC".')
IN_AIR = typer.Option(
    [], "--air", help='Sample frozen in air: density "2.65 g/cm3", or weights in air and water "102.4 g / 63.9 g".'
)
IN_VACUUM = typer.Option([], "--vacuum", help="Its partner frozen under vacuum, written the same way; repeat both.")
PRESSURE = typer.Option("", "--pressure", help='Absolute pressure of the vacuum test, for example "80 mbar".')
WATER = typer.Option("20 degC", "--water", help="Temperature of the water in which samples were weighed.")
HYDROGEN = typer.Option([], "--hydrogen", help='Reading of a hydrogen instrument, "0.14 ml/100g"; may be repeated.')
FACTOR = typer.Option("", "--alloy-factor", help="Alloy factor that is set in the instrument, if known.")
AFTER = typer.Option("", "--after", help="Place in the work: before, after (treatment) or holding.")
NOTE = typer.Option("", "--note", help="Remark.")
AIR_TEMP = typer.Option("", "--air-temp", help='Air at the furnace mouth, "28 degC".')
HUMIDITY = typer.Option("", "--humidity", help='Its relative humidity, "65 %".')
DEW_POINT = typer.Option("", "--dew-point", help='Its dew point, "18 degC", instead of the humidity.')
TARGET = typer.Option("0.12 ml/100g", "--target", help="Highest hydrogen of a melt that may be cast.")
INDEX_LIMIT = typer.Option("", "--index-limit", help='Your plant\'s limit of the mean density index, "2 %".')
LIMIT_PRESSURE = typer.Option("80 mbar", "--limit-pressure", help="Test pressure for which that limit was set.")
SURE = typer.Option("95 %", "--sure", help="Certainty asked for.")
CALIBRATION = typer.Option(
    None, "--calibration", help="Kinetics that castq melt fit has written; else those of the book."
)
DESIGNS = typer.Option(Path("castq-designs"), "--designs", help="Folder of screened designs (castq screen --keep).")
SEED = typer.Option(1, "--seed", min=0, help="Seed of the draws.")
FORCE = typer.Option(False, "--force", help="Replace files that are there.")

_TIME = re.compile(r"(\d{1,2}):(\d{2})")


def quantity(text: str, kind: str, option: str) -> float | None:
    """Return a written quantity in the base unit of its kind; None when it was not given."""
    return parse_quantity(text, kind, HERE, option) if text else None


def needed(text: str, option: str, example: str) -> str:
    """Return a text that must be there, or say how to give it."""
    if not text.strip():
        raise input_error(HERE, option, "is missing", "", f"give for example {option} {example}")
    return text.strip()


def moment(text: str, now: datetime, option: str = "--at") -> datetime:
    """Return a written time; a time of day is that of today on this machine's clock, never guessed otherwise."""
    if not text:
        return now
    found = _TIME.fullmatch(text.strip())
    try:
        if found:
            return now.replace(hour=int(found[1]), minute=int(found[2]), second=0, microsecond=0)
        read = datetime.fromisoformat(text.strip())
    except ValueError:
        raise input_error(HERE, option, f"'{plain(text, 40)}' is not a time", "2026-11-24T14:10+01:00, or 14:10",
                          "write it so") from None  # fmt: skip
    if read.utcoffset() is None:
        raise input_error(HERE, option, f"'{plain(text, 40)}' has no time zone", "a time with its zone",
                          f"write {read.isoformat('T', 'minutes')}{now:%z}"[:-2] + ":" + f"{now:%z}"[-2:]
                          + " if it is the zone of this machine")  # fmt: skip
    return read


def span(text: str, option: str) -> timedelta:
    """Return a written length of time such as `7 d`, `12 h` or `30 min`."""
    match = re.fullmatch(r"\s*(\d{1,4})\s*(d|h|min)\s*", text)
    if not match:
        raise input_error(
            HERE, option, f"'{plain(text, 40)}' is no length of time", "7 d, 12 h or 30 min", "write it so"
        )
    return int(match[1]) * {"d": timedelta(days=1), "h": timedelta(hours=1), "min": timedelta(minutes=1)}[match[2]]


def densities(
    air: Sequence[str], vacuum: Sequence[str], pressure: str, water: str, alloy: str
) -> tuple[DensityPair, ...]:
    """Return checked pairs of densities, each weighed or given."""
    from castq.melt.checks import pair_of_densities

    if len(air) != len(vacuum):
        found = f"{len(air)} samples frozen in air and {len(vacuum)} under vacuum"
        raise input_error(HERE, "--air, --vacuum", found, "pairs", "give --vacuum once for each --air")
    bar = quantity(pressure, "pressure_bar", "--pressure")
    mbar = None if bar is None else round(1000.0 * bar, 6)
    water_temp_c = parse_quantity(water, "temperature_c", HERE, "--water")
    return tuple(
        pair_of_densities(_density(a, water_temp_c, "--air"), _density(v, water_temp_c, "--vacuum"), mbar, alloy)
        for a, v in zip(air, vacuum, strict=True)
    )


def _density(text: str, water_temp_c: float, option: str) -> float:
    from castq.melt.checks import density_of_weights

    first, slash, second = text.partition(" / ")
    if not slash:
        return parse_quantity(text, "density_g_cm3", HERE, option)
    grams = [1000.0 * parse_quantity(part, "mass_kg", HERE, option) for part in (first, second)]
    return density_of_weights(grams[0], grams[1], water_temp_c, option)


def readings(hydrogen: Sequence[str], factor: str) -> tuple[HydrogenReading, ...]:
    """Return checked readings; another unit than ml/100g is refused with the converted value."""
    from castq.melt.checks import reading_of

    known = parse_number(factor, HERE, "--alloy-factor") if factor else None
    found = []
    for text in hydrogen:
        parse_quantity(text, "hydrogen_ml_100g", HERE, "--hydrogen")
        number, unit = re.fullmatch(r"\s*([\d.,eE+-]+)\s*(.*?)\s*", text).groups()  # type: ignore[union-attr]
        found.append(reading_of(parse_number(number, HERE, "--hydrogen"), unit, None, known))
    return tuple(found)


def sample_of(given: dict[str, Any], now: datetime) -> Sample:
    """Return the checked sample that the options of a command tell of."""
    from castq.melt.checks import check_samples
    from castq.melt.types import Sample

    alloy = needed(given["alloy"], "--alloy", "AlSi7Mg0.3")
    after = given["after"]
    if after and after not in PLACES:
        raise input_error(
            HERE, "--after", f"'{plain(after, 40)}' is no place in the work", ", ".join(PLACES), "choose one"
        )
    sample = Sample(
        taken_at=moment(given["at"], now),
        furnace=needed(given["furnace"], "--furnace", "1"),
        alloy=alloy,
        melt_temp_c=parse_quantity(needed(given["melt_temp"], "--melt-temp", '"720 degC"'), "temperature_c", HERE,
                                   "--melt-temp"),
        pairs=densities(given["air"], given["vacuum"], given["pressure"], given["water"], alloy),
        readings=readings(given["hydrogen"], given["alloy_factor"]),
        sampled_by=given["by"].strip(),
        after=PLACES.get(after, ""),  # type: ignore[arg-type]
        note=given["note"].strip(),
    )  # fmt: skip
    check_samples([sample])
    return sample


def air_of(air_temp: str, humidity: str, dew_point: str) -> Air | None:
    """Return the checked air at the furnace mouth; None when nothing of it was given."""
    from castq.melt.checks import check_air
    from castq.melt.types import Air

    if not (air_temp or humidity or dew_point):
        return None
    temp = parse_quantity(needed(air_temp, "--air-temp", '"28 degC"'), "temperature_c", HERE, "--air-temp")
    air = Air(temp, quantity(humidity, "percent", "--humidity"), quantity(dew_point, "temperature_c", "--dew-point"))
    check_air(air)
    return air


def target_of(target: str, index_limit: str, limit_pressure: str, sure: str) -> MeltTarget:
    """Return what the melt must meet."""
    from castq.melt.types import MeltTarget

    certainty = parse_quantity(sure, "percent", HERE, "--sure") / 100.0
    if not 0.5 <= certainty < 1.0:
        raise input_error(HERE, "--sure", f"{100.0 * certainty:g} %", "50 to 99.9 %", 'write for example "95 %"')
    hydrogen = parse_quantity(target, "hydrogen_ml_100g", HERE, "--target")
    if not 0.02 <= hydrogen <= 0.6:
        raise input_error(
            HERE, "--target", f"{hydrogen:g} ml/100g", "0.02 to 0.6 ml/100g", "check the value and its unit"
        )
    index = quantity(index_limit, "percent", "--index-limit")
    if index is not None and not 0.05 <= index <= 20.0:
        raise input_error(HERE, "--index-limit", f"{index:g} %", "0.05 to 20 %", "check the value")
    mbar = 1000.0 * parse_quantity(limit_pressure, "pressure_bar", HERE, "--limit-pressure")
    return MeltTarget(hydrogen, index, round(mbar, 6), certainty)


def kinetics_of(path: Path | None) -> Kinetics | None:
    """Return the kinetics of a calibration file; None when no file was given."""
    if path is None:
        return None
    from castq.files.melt_calibration import read_calibration

    return read_calibration(path)


def hash_of(kinetics: Kinetics | None) -> str:
    """Return the hash by which kinetics are cited; empty for none."""
    if kinetics is None:
        return ""
    from castq.files.melt_calibration import kinetics_hash

    return kinetics_hash(kinetics)


def clock_now() -> datetime:
    """Return the time on this machine's clock, to the second."""
    from castq.core.clock import SYSTEM_CLOCK

    return SYSTEM_CLOCK().replace(microsecond=0)


def opened(book: str, *, create: bool = False) -> LogBook:
    """Return the log book, saying on stderr what should be said about its place."""
    from castq.files.logbook.opening import open_book

    found = open_book(book, create=create)
    for words in found.warnings:
        typer.echo(f"castq: {words}", err=True)
    return found


def tell(as_json: bool, document: Callable[[], dict[str, Any]], text: Callable[[], str]) -> None:
    """Print the one document or the text."""
    typer.echo(json.dumps(document(), indent=2, ensure_ascii=False, allow_nan=False) if as_json else text())


def flow(text: str, option: str) -> float | None:
    """Return a gas flow in litres a minute at 0 degC and 1 atm; None when it was not given."""
    if not text:
        return None
    match = re.fullmatch(r"\s*(\S+?)\s*(l/min|nl/min|NL/min|Nl/min)?\s*", text)
    value = parse_number(match[1] if match else text, HERE, option)
    if not 0.1 <= value <= 500.0:
        raise input_error(HERE, option, f"{value:g} l/min", "0.1 to 500 l/min", "check the value and its unit")
    return value

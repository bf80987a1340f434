"""Commands of the furnace: judge a sample, plan a treatment."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from castq.cli import melt_options as o
from castq.cli.catalogue import JSON_OPTION
from castq.core.errors import EXIT_VERDICT_NEGATIVE, input_error
from castq.core.quantities import parse_quantity

if TYPE_CHECKING:
    from castq.melt.records import Record
    from castq.melt.types import Air, Kinetics, Sample
    from castq.report.melt_words import Standing

LAST = typer.Option("", "--last", help="Judge the newest samples of this furnace in the book, instead of options.")
NOW = typer.Option("", "--now", help="Moment of the answer with --last; the present when not given.")
WRITE = typer.Option(False, "--write", help="Write the sample into the log book (needs --by).")
# An answer about a melt that was sampled longer ago says nothing about the melt of now; common practice.
FRESH = timedelta(hours=4)
START = typer.Option(..., "--hydrogen", help='Hydrogen now, "0.20 ml/100g".')
ONE_SIGMA = typer.Option("", "--one-sigma", help="Its standard deviation; that of one reading when not given.")
MELT = typer.Option("", "--melt", help='Melt to treat, "600 kg".')
GAS = typer.Option("", "--gas-flow", help='Purge gas at 0 degC and 1 atm in litres a minute, "20".')


def judge(
    air: list[str] = o.IN_AIR,
    vacuum: list[str] = o.IN_VACUUM,
    pressure: str = o.PRESSURE,
    hydrogen: list[str] = o.HYDROGEN,
    alloy_factor: str = o.FACTOR,
    furnace: str = o.FURNACE,
    alloy: str = o.ALLOY,
    melt_temp: str = o.MELT_TEMP,
    at: str = o.AT,
    after: str = o.AFTER,
    water: str = o.WATER,
    note: str = o.NOTE,
    air_temp: str = o.AIR_TEMP,
    humidity: str = o.HUMIDITY,
    dew_point: str = o.DEW_POINT,
    target: str = o.TARGET,
    index_limit: str = o.INDEX_LIMIT,
    limit_pressure: str = o.LIMIT_PRESSURE,
    sure: str = o.SURE,
    calibration: Path | None = o.CALIBRATION,
    last: str = LAST,
    now: str = NOW,
    write: bool = WRITE,
    by: str = o.BY,
    book: str = o.BOOK,
    seed: int = o.SEED,
    as_json: bool = JSON_OPTION,
) -> None:
    """Judge a sample: cast, degas so many minutes more, hold and resample, or a target that cannot be reached.

    Exit code 0: cast; 1: not yet.

    Example: castq melt judge --furnace 1 --alloy AlSi7Mg0.3 --melt-temp "720 degC" --air "2.65 g/cm3"
    --vacuum "2.60 g/cm3" --pressure "80 mbar"
    """
    from castq.melt.judge import judge as decide
    from castq.report.melt_exports import judgement_to_dict
    from castq.report.melt_text import judge_text

    wanted = o.target_of(target, index_limit, limit_pressure, sure)
    own_air, kinetics = o.air_of(air_temp, humidity, dew_point), o.kinetics_of(calibration)
    given = {name: value for name, value in locals().items() if name in _SAMPLE}
    if last:
        _only_last(given, write)
        standing, own_air = _from_book(book, last, now, own_air, kinetics)
    else:
        standing = _typed(given)
    moment = standing.at if last else None
    result = decide(standing.samples, wanted, standing.kinetics or kinetics, own_air, now=moment, seed=seed)
    if write:
        standing = _written(standing, own_air, by, book)
    standing = _cited(standing, standing.kinetics or kinetics)
    o.tell(as_json, lambda: judgement_to_dict(result, standing), lambda: judge_text(result, standing))
    raise typer.Exit(0 if result.answer == "cast" else EXIT_VERDICT_NEGATIVE)


_SAMPLE = ("air", "vacuum", "pressure", "hydrogen", "alloy_factor", "furnace", "alloy", "melt_temp", "at", "after",
           "water", "note", "by")  # fmt: skip


def _only_last(given: dict[str, Any], write: bool) -> None:
    """Refuse a sample beside `--last`: which of the two is meant is not guessed."""
    typed = [name for name in ("air", "vacuum", "hydrogen", "furnace", "alloy", "melt_temp", "at") if given[name]]
    if typed or write:
        option = "--" + (typed[0].replace("_", "-") if typed else "write")
        raise input_error(o.HERE, option, "stands beside --last", "one of the two", "leave one out")


def _typed(given: dict[str, Any]) -> Standing:
    from castq.files.melt_book import check_not_ahead
    from castq.report.melt_words import Standing

    now = o.clock_now()
    sample = o.sample_of(given, now)
    check_not_ahead(sample.taken_at, now, "sample")
    return Standing((sample,), sample.taken_at)


def _from_book(
    book: str, furnace: str, now: str, air: Air | None, kinetics: Kinetics | None
) -> tuple[Standing, Air | None]:
    """Return the newest samples of a furnace, and the air: the one given, else that of the book."""
    from castq.files.melt_book import furnace_named, furnace_now
    from castq.melt.clocks import good_until
    from castq.report.melt_words import Standing

    moment = o.moment(now, o.clock_now(), "--now")
    with o.opened(book) as log:
        state = furnace_now(log, furnace_named(log, furnace), moment)
        name = log.name
    if not state.samples:
        raise input_error(name, f"furnace {furnace}", "holds no sample of it up to then", "", "enter one first")
    at, old = answer_moment(state.samples, moment)
    clocks = good_until(state.additions, state.treatments)
    standing = Standing(state.samples, at, kinetics or state.kinetics, "", (*old, *state.notes), clocks, (), name)
    return standing, air or state.air


def answer_moment(samples: tuple[Sample, ...], moment: datetime) -> tuple[datetime, tuple[str, ...]]:
    """Return the time for which samples can be judged, and a note when that is not the time asked for."""
    newest = samples[-1].taken_at
    if moment - newest <= FRESH:
        return moment, ()
    age = moment - newest
    words = f"{age.days} days" if age.days > 1 else f"{age.total_seconds() / 3600.0:.0f} hours"
    return newest, (f"the last sample is {words} old: this is the answer of then, take a new one before you act",)


def _written(standing: Standing, air: Air | None, by: str, book: str) -> Standing:
    from dataclasses import replace

    from castq.files.melt_book import enter

    who = o.needed(by, "--by", '"A. Melter"')
    with o.opened(book, create=True) as log:
        records: list[Record] = [*standing.samples, *([air] if air else [])]
        rows = enter(log, records, who, standing.at)
        _warn(rows)
        return replace(standing, rows=tuple(row.sequence for row in rows), book=log.name)


def _warn(rows: Any) -> None:
    for row in rows:
        for words in row.warnings:
            typer.echo(f"castq: {words}", err=True)


def _cited(standing: Standing, kinetics: Kinetics | None) -> Standing:
    from dataclasses import replace

    return replace(standing, kinetics=kinetics, kinetics_sha256=o.hash_of(kinetics))


def plan(
    hydrogen: str = START,
    alloy: str = o.ALLOY,
    melt_temp: str = o.MELT_TEMP,
    melt: str = MELT,
    gas_flow: str = GAS,
    air_temp: str = o.AIR_TEMP,
    humidity: str = o.HUMIDITY,
    dew_point: str = o.DEW_POINT,
    target: str = o.TARGET,
    sure: str = o.SURE,
    one_sigma: str = ONE_SIGMA,
    calibration: Path | None = o.CALIBRATION,
    seed: int = o.SEED,
    as_json: bool = JSON_OPTION,
) -> None:
    """Plan a degassing treatment: minutes to a target, a second opinion, and what each setting would change.

    Exit code 0: the target can be reached with the certainty asked for; 1: it cannot.

    Example: castq melt plan --hydrogen "0.22 ml/100g" --alloy AlSi7Mg0.3 --melt-temp "720 degC" --melt "600 kg"
    --gas-flow 20
    """
    from castq.melt.plan import Setting, plan_treatment
    from castq.report.melt_exports import plan_to_dict
    from castq.report.melt_text import plan_text

    aim = o.target_of(target, "", "80 mbar", sure)
    setting = Setting(
        o.needed(alloy, "--alloy", "AlSi7Mg0.3"),
        parse_quantity(o.needed(melt_temp, "--melt-temp", '"720 degC"'), "temperature_c", o.HERE, "--melt-temp"),
        o.quantity(melt, "mass_kg", "--melt"),
        o.flow(gas_flow, "--gas-flow"),
        o.air_of(air_temp, humidity, dew_point),
    )
    kinetics = o.kinetics_of(calibration)
    start = parse_quantity(hydrogen, "hydrogen_ml_100g", o.HERE, "--hydrogen")
    sigma = o.quantity(one_sigma, "hydrogen_ml_100g", "--one-sigma")
    result = plan_treatment(start, setting, aim, kinetics, one_sigma_ml_100g=sigma, seed=seed)
    digest = o.hash_of(result.kinetics)
    o.tell(as_json, lambda: plan_to_dict(result, digest), lambda: plan_text(result, digest))
    raise typer.Exit(0 if result.minutes_sure < float("inf") else EXIT_VERDICT_NEGATIVE)


def add_commands(app: typer.Typer) -> None:
    """Add this module's commands to the app."""
    app.command("judge")(judge)
    app.command("plan")(plan)

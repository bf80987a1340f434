"""Commands of the log book: add, correct, list, verify, back up, import."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from castq.cli import melt_options as o
from castq.cli.catalogue import JSON_OPTION
from castq.core.errors import EXIT_VERDICT_NEGATIVE, input_error, nearest, plain
from castq.core.quantities import parse_number, parse_quantity

if TYPE_CHECKING:
    from castq.files.logbook.entry import Entry
    from castq.melt.records import Record

MINUTES = typer.Option(..., "--minutes", help="How long it ran, in minutes.")
ROTOR = typer.Option("", "--rotor", help="Rotor or lance.")
GAS = typer.Option("argon", "--gas", help="Purge gas.")
GAS_FLOW = typer.Option("", "--gas-flow", help='Purge gas at 0 degC and 1 atm in litres a minute, "20".')
SPEED = typer.Option("", "--speed", help="Rotor speed, turns a minute.")
MELT = typer.Option("", "--melt", help='Melt treated, "600 kg".')
KIND = typer.Argument(..., help="What was added: strontium, refiner, magnesium, metal or other.")
AMOUNT = typer.Option(..., "--amount", help='How much, "1.2 kg".')
REACHES = typer.Option("", "--reaches", help='Content that the melt reaches: strontium "180 ppm", others "0.35 wt%".')
ROW = typer.Argument(..., min=1, help="Number of the row that was wrong.")
SET = typer.Option([], "--set", help="NAME=VALUE as in castq melt log --json; in lists: pairs.1.in_air_g_cm3=2.66.")
WHY = typer.Option("", "--why", help="Reason, kept with the correction.")
WITHDRAW = typer.Option(False, "--withdraw", help="Take the row out, such as one entered twice.")
ROWS = typer.Option(20, "--rows", min=1, max=10_000, help="How many rows, the newest.")
LIST_KIND = typer.Option("", "--kind", help="Only sample, treatment, addition, air, calibration or release.")
SINCE = typer.Option("", "--since", help='Only what happened in the last "7 d", "12 h" or "30 min".')
ALL = typer.Option(False, "--all", help="Also rows that were corrected or withdrawn, as they were written.")
NOTED = typer.Option("", "--noted", help="Head of the book as noted earlier: proves that nothing before it changed.")
COPY = typer.Argument(..., help="The copy; it must not exist yet.")
ADDED = ("strontium", "refiner", "magnesium", "metal", "other")


def add_sample(
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
    by: str = o.BY,
    book: str = o.BOOK,
    as_json: bool = JSON_OPTION,
) -> None:
    """Add a sample to the log book, without judging it.

    Example: castq melt add sample --furnace 1 --alloy AlSi7Mg0.3 --melt-temp "720 degC" --hydrogen "0.14 ml/100g"
    --by "A. Melter"
    """
    given = {name: value for name, value in locals().items() if name not in ("book", "as_json")}
    _add(o.sample_of(given, o.clock_now()), by, book, as_json)


def add_treatment(
    minutes: str = MINUTES,
    furnace: str = o.FURNACE,
    rotor: str = ROTOR,
    gas: str = GAS,
    gas_flow: str = GAS_FLOW,
    speed: str = SPEED,
    melt: str = MELT,
    at: str = o.AT,
    by: str = o.BY,
    book: str = o.BOOK,
    as_json: bool = JSON_OPTION,
) -> None:
    """Add a degassing treatment; `--at` is when it began.

    Example: castq melt add treatment --furnace 1 --minutes 12 --rotor R1 --by "A. Melter"
    """
    from castq.melt.types import Treatment

    treatment = Treatment(
        o.needed(furnace, "--furnace", "1"), o.moment(at, o.clock_now()), _minutes(minutes), rotor.strip(), gas.strip(),
        o.flow(gas_flow, "--gas-flow"), parse_number(speed, o.HERE, "--speed") if speed else None,
        o.quantity(melt, "mass_kg", "--melt"),
    )  # fmt: skip
    _add(treatment, by, book, as_json)


def _minutes(text: str) -> float:
    """Return minutes; a bare number is minutes, as the option says."""
    if text.strip().replace(".", "").replace(",", "").isdigit():
        return parse_number(text, o.HERE, "--minutes")
    return parse_quantity(text, "time_s", o.HERE, "--minutes") / 60.0


def add_addition(
    kind: str = KIND,
    amount: str = AMOUNT,
    reaches: str = REACHES,
    furnace: str = o.FURNACE,
    at: str = o.AT,
    by: str = o.BY,
    book: str = o.BOOK,
    as_json: bool = JSON_OPTION,
) -> None:
    """Add what was put into the melt: it starts the clock of strontium or refiner.

    Example: castq melt add addition strontium --furnace 1 --amount "1.2 kg" --reaches "180 ppm" --by "A. Melter"
    """
    from castq.melt.types import Addition

    if kind not in ADDED:
        raise input_error(o.HERE, "kind", f"'{plain(kind, 40)}' is no addition", "", nearest(kind, ADDED))
    unit = "mass_fraction_ppm" if kind == "strontium" else "mass_fraction_wt_pct"
    amount_kg = parse_quantity(amount, "mass_kg", o.HERE, "--amount")
    addition = Addition(
        o.moment(at, o.clock_now()), o.needed(furnace, "--furnace", "1"), kind, amount_kg,  # type: ignore[arg-type]
        o.quantity(reaches, unit, "--reaches"),
    )  # fmt: skip
    _add(addition, by, book, as_json)


def add_air(
    air_temp: str = o.AIR_TEMP,
    humidity: str = o.HUMIDITY,
    dew_point: str = o.DEW_POINT,
    at: str = o.AT,
    by: str = o.BY,
    book: str = o.BOOK,
    as_json: bool = JSON_OPTION,
) -> None:
    """Add the air at the furnace mouth.

    Example: castq melt add air --air-temp "28 degC" --humidity "65 %" --by "A. Melter"
    """
    air = o.air_of(o.needed(air_temp, "--air-temp", '"28 degC"'), humidity, dew_point)
    if air is not None:
        _add(air, by, book, as_json, at)


def _add(record: Record, by: str, book: str, as_json: bool, at: str = "") -> None:
    """Write one checked record and say which row it became."""
    from castq.files.melt_book import check_not_ahead, check_record, enter
    from castq.melt.records import happened_at, kind_of
    from castq.report.melt_log_text import entered_text, entries_to_dict

    who, now = o.needed(by, "--by", '"A. Melter"'), o.clock_now()
    moment = o.moment(at, now)
    # Before the book is opened: a refused entry must not make a new book.
    check_record(record)
    check_not_ahead(happened_at(record) or moment, now, kind_of(record))
    with o.opened(book, create=True) as log:
        rows = enter(log, [record], who, moment)
        _warn(rows)
        o.tell(as_json, lambda: entries_to_dict("entry", rows, log.name, log.head()),
               lambda: entered_text(rows, log.name, log.head()))  # fmt: skip


def _warn(rows: list[Entry]) -> None:
    for row in rows:
        for words in row.warnings:
            typer.echo(f"castq: {words}", err=True)


def correct(
    row: int = ROW,
    changes: list[str] = SET,
    at: str = typer.Option("", "--at", help="The right time, if that was wrong."),
    withdraw: bool = WITHDRAW,
    why: str = WHY,
    by: str = o.BY,
    book: str = o.BOOK,
    as_json: bool = JSON_OPTION,
) -> None:
    """Correct a row by a new one; the old one stays in the book.

    Example: castq melt correct 17 --set melt_temp_c=722 --why "misread" --by "A. Melter"
    """
    from castq.files.melt_book import check_clock, check_not_ahead, corrected
    from castq.report.melt_log_text import entered_text, entries_to_dict

    who, reason = o.needed(by, "--by", '"A. Melter"'), o.needed(why, "--why", '"misread"')
    if withdraw == bool(changes or at):
        raise input_error(o.HERE, "--set", "nothing is to be changed" if not withdraw else "stands beside --withdraw",
                          "--set, --at or --withdraw", "give one of them")  # fmt: skip
    with o.opened(book) as log:
        now = o.clock_now()
        check_clock(log, now)
        if withdraw:
            done = log.withdraw(row, who, reason)
        else:
            wrong = log.entry(row)
            moment = o.moment(at, now) if at else wrong.at
            check_not_ahead(moment, now, wrong.kind)
            done = log.correct(row, corrected(wrong, _changed(wrong, changes)), who, reason, moment)
        _warn([done])
        o.tell(as_json, lambda: entries_to_dict("entry", [done], log.name, log.head()),
               lambda: entered_text([done], log.name, log.head()))  # fmt: skip


def _changed(entry: Entry, changes: list[str]) -> dict[str, object]:
    """Return the changed values of a payload from `NAME=VALUE` and `LIST.PLACE.NAME=VALUE`."""
    from castq.melt.records import field_names

    found: dict[str, Any] = {}
    for text in changes:
        name, equals, value = text.partition("=")
        path = name.strip().split(".")
        known = field_names(entry.kind)
        if not equals or path[0] not in known or len(path) not in (1, 3):
            raise input_error(o.HERE, "--set", f"'{plain(text, 60)}' names no value of a {entry.kind}", "NAME=VALUE",
                              nearest(path[0], known))  # fmt: skip
        if len(path) == 1:
            found[name.strip()] = _value(value)
            continue
        rows = found.setdefault(path[0], [dict(item) for item in entry.payload.get(path[0]) or []])
        if not path[1].isdecimal() or not 1 <= int(path[1]) <= len(rows):
            raise input_error(o.HERE, "--set", f"'{plain(name, 60)}': there is no such place", f"1 to {len(rows)}",
                              "count from 1")  # fmt: skip
        rows[int(path[1]) - 1][path[2]] = _value(value)
    return found


def _value(text: str) -> object:
    """Return a written value: nothing, a number, or text."""
    text = text.strip()
    if not text:
        return None
    return parse_number(text, o.HERE, "--set") if text.replace(",", ".").lstrip("+-")[:1].isdigit() else text


def list_rows(
    rows: int = ROWS,
    furnace: str = o.FURNACE,
    kind: str = LIST_KIND,
    since: str = SINCE,
    everything: bool = ALL,
    book: str = o.BOOK,
    as_json: bool = JSON_OPTION,
) -> None:
    """List the newest rows of the log book.

    Example: castq melt log --furnace 1 --since "12 h"
    """
    from castq.files.logbook.entry import KINDS
    from castq.report.melt_log_text import entries_to_dict, log_text

    if kind and kind not in KINDS:
        raise input_error(o.HERE, "--kind", f"'{plain(kind, 40)}' is no kind of row", "", nearest(kind, KINDS))
    start = o.clock_now() - o.span(since, "--since") if since else None
    with o.opened(book) as log:
        found = log.entries(kind or None, furnace or None, start, current=not everything, last=rows)
        head = log.head()
    o.tell(as_json, lambda: entries_to_dict("log", found, log.name, head), lambda: log_text(found, log.name, head))


def verify(noted: str = NOTED, book: str = o.BOOK, as_json: bool = JSON_OPTION) -> None:
    """Check that every row is as it was written, where it was written.

    Exit code 0: whole; 1: altered, moved or missing rows.

    Example: castq melt verify --noted 240-3f9a1c77d2e45b01
    """
    from castq.report.melt_log_text import verify_text, verify_to_dict

    with o.opened(book) as log:
        result = log.verify(noted or None)
    o.tell(as_json, lambda: verify_to_dict(result, log.name), lambda: verify_text(result, log.name))
    raise typer.Exit(0 if result.ok else EXIT_VERDICT_NEGATIVE)


def backup(copy: Path = COPY, force: bool = o.FORCE, book: str = o.BOOK, as_json: bool = JSON_OPTION) -> None:
    """Write a checked copy of the log book while it stays in use.

    Example: castq melt backup backups/melts-2026-11-24.db
    """
    from castq.report.melt_exports import document
    from castq.report.melt_log_text import backup_text

    with o.opened(book) as log:
        done = log.backup(copy, force=force)
    o.tell(as_json, lambda: document("backup", {"book": log.name, "copy": done.path, "rows": done.head.rows,
                                                "head": done.head.note}),
           lambda: backup_text(done.path, done.head.rows, done.head.note, log.name))  # fmt: skip


def add_commands(app: typer.Typer) -> None:
    """Add this module's commands to the app."""
    add = typer.Typer(no_args_is_help=True, rich_markup_mode=None)
    for name, command in (("sample", add_sample), ("treatment", add_treatment), ("addition", add_addition),
                          ("air", add_air)):  # fmt: skip
        add.command(name)(command)
    app.add_typer(add, name="add", help="Add a sample, treatment, addition or the air to the log book.")
    app.command("correct")(correct)
    app.command("log")(list_rows)
    app.command("verify")(verify)
    app.command("backup")(backup)

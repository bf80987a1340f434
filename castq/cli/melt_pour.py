"""Commands of the shift: which wheels a melt may pour, the card, and an invented week to look at."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from castq.cli import melt_options as o
from castq.cli.catalogue import JSON_OPTION
from castq.cli.melt_judge import answer_moment
from castq.core.errors import EXIT_VERDICT_NEGATIVE, InputError, input_error
from castq.core.quantities import parse_quantity

if TYPE_CHECKING:
    from castq.files.logbook.book import LogBook
    from castq.melt.release import ReleaseTable
    from castq.melt.types import MeltTarget
    from castq.report.melt_card import FurnaceAnswer, SampleAnswer, ShiftCard

HYDROGEN = typer.Option("", "--hydrogen", help='Hydrogen instead of the book, "0.12 ml/100g" (needs --alloy).')
POUR_SURE = typer.Option("90 %", "--sure", help="Certainty asked for that every zone meets its porosity limit.")
NOW = typer.Option("", "--now", help="Moment of the answer; the present when not given.")
WRITE = typer.Option(False, "--write", help="Write the answers into the log book (needs --by).")
PICTURE = typer.Option(None, "--picture", help="File for the picture (PNG).")
HOURS = typer.Option("24 h", "--last", help='How far back the card looks, "8 h" or "24 h".')
OUT = typer.Option(Path("castq-card"), "--out", help="Folder for card.html, card.pdf and chart.png.")
DEMO_OUT = typer.Option(Path("castq-melt-demo"), "--out", help="Folder to write the demo into.")
CHARTED = timedelta(days=60)
_MOST = 200


def release(
    furnace: str = o.FURNACE,
    designs: Path = o.DESIGNS,
    hydrogen: str = HYDROGEN,
    alloy: str = o.ALLOY,
    sure: str = POUR_SURE,
    calibration: Path | None = o.CALIBRATION,
    now: str = NOW,
    picture: Path | None = PICTURE,
    write: bool = WRITE,
    by: str = o.BY,
    force: bool = o.FORCE,
    book: str = o.BOOK,
    as_json: bool = JSON_OPTION,
) -> None:
    """Say which of the screened designs on file a melt may pour: the newest in the book, or a stated hydrogen.

    Exit code 0: at least one design may be poured; 1: none.

    Example: castq melt release --furnace 1
    """
    from castq.files.library import designs as kept
    from castq.report.melt_exports import release_to_dict
    from castq.report.melt_text import release_text

    certainty = parse_quantity(sure, "percent", o.HERE, "--sure") / 100.0
    library = kept(designs)
    for fault in library.refused:
        typer.echo(f"castq: not used: {fault}", err=True)
    who = o.needed(by, "--by", '"A. Melter"') if write else ""
    notes: tuple[str, ...] = ()
    if hydrogen:
        table, at = _stated(library, hydrogen, alloy, certainty), o.clock_now()
    else:
        table, at, notes = _of_furnace(library, book, furnace, calibration, now, certainty)
    for note in notes:
        typer.echo(f"castq: {note}", err=True)
    if picture is not None:
        _draw(table, picture, force)
    rows = _written(table, furnace, at, who, book) if write else []
    o.tell(as_json, lambda: release_to_dict(table, rows), lambda: release_text(table))
    raise typer.Exit(0 if any(row.answer == "may pour" for row in table.rows) else EXIT_VERDICT_NEGATIVE)


def _stated(library: Any, hydrogen: str, alloy: str, sure: float) -> ReleaseTable:
    """Return the table for a stated hydrogen with the scatter of one reading."""
    import numpy as np

    from castq.melt.evidence import reading_sigma
    from castq.melt.release import release as hold_against
    from castq.melt.types import Interval

    middle = parse_quantity(hydrogen, "hydrogen_ml_100g", o.HERE, "--hydrogen")
    reach = 1.2816 * float(reading_sigma(np.array(middle)))
    spread = Interval(middle, max(middle - reach, 0.005), middle + reach)
    return hold_against(library, spread, alloy=o.needed(alloy, "--alloy", "AlSi7Mg0.3"), sure=sure)


def _of_furnace(
    library: Any, book: str, furnace: str, calibration: Path | None, now: str, sure: float
) -> tuple[ReleaseTable, datetime, tuple[str, ...]]:
    from castq.files.melt_book import furnace_named, furnace_now
    from castq.melt.judge import melt_draws_of
    from castq.melt.release import release as hold_against

    moment, kinetics = o.moment(now, o.clock_now(), "--now"), o.kinetics_of(calibration)
    with o.opened(book) as log:
        name = furnace_named(log, o.needed(furnace, "--furnace", "1"))
        state = furnace_now(log, name, moment)
    if not state.samples:
        raise input_error(book, f"furnace {furnace}", "holds no sample of it up to then", "", "enter one first")
    at, old = answer_moment(state.samples, moment)
    draws = melt_draws_of(state.samples, kinetics or state.kinetics, state.air, now=at)
    table = hold_against(library, draws.hydrogen_ml_100g, alloy=state.samples[-1].alloy, sure=sure)
    return table, at, (*old, *state.notes)


def _draw(table: ReleaseTable, picture: Path, force: bool) -> None:
    from castq.files.atomic import write_bytes
    from castq.report.melt_figures import StripRow, release_png

    melt = table.hydrogen_ml_100g
    rows = [StripRow(r.design, r.stands.median, r.stands.p10, r.stands.p90, melt.median, melt.p10, melt.p90,
                       r.answer) for r in table.rows]  # fmt: skip
    write_bytes(picture, release_png(rows), force=force)


def _written(table: ReleaseTable, furnace: str, at: datetime, by: str, book: str) -> list[int]:
    """Add the answers to the book."""
    from castq.files.melt_book import check_clock

    answers = [{"design": r.design, "answer": r.answer,
                "probability_ok": None if r.probability_ok != r.probability_ok else round(r.probability_ok, 4)}
               for r in table.rows]  # fmt: skip
    payload = {"alloy": table.alloy, "hydrogen_ml_100g": round(table.hydrogen_ml_100g.median, 4), "sure": table.sure,
               "answers": answers}  # fmt: skip
    with o.opened(book, create=True) as log:
        check_clock(log, o.clock_now())
        if furnace:
            from castq.files.melt_book import furnace_named

            payload["furnace"] = furnace_named(log, furnace)
        return [log.append("release", payload, by, at).sequence]


def card(
    furnace: str = o.FURNACE,
    hours: str = HOURS,
    now: str = NOW,
    designs: Path = o.DESIGNS,
    target: str = o.TARGET,
    index_limit: str = o.INDEX_LIMIT,
    limit_pressure: str = o.LIMIT_PRESSURE,
    sure: str = o.SURE,
    out: Path = OUT,
    force: bool = o.FORCE,
    book: str = o.BOOK,
    as_json: bool = JSON_OPTION,
) -> None:
    """Write the shift's card: samples, answers, clocks, charts and wheels on one A4 page, as HTML and PDF.

    Example: castq melt card --last "8 h" --out card
    """
    from castq.files.atomic import check_out
    from castq.report.melt_card_text import card_text, card_to_dict

    check_out(out, force)
    wanted = o.target_of(target, index_limit, limit_pressure, sure)
    until = o.moment(now, o.clock_now(), "--now")
    with o.opened(book) as log:
        made = _card(log, wanted, (until - o.span(hours, "--last"), until), furnace, designs)
    files = _write_card(made, out, force)
    o.tell(as_json, lambda: card_to_dict(made, files), lambda: card_text(made, files))


def _card(log: LogBook, target: MeltTarget, hours: tuple[datetime, datetime], furnace: str, designs: Path) -> ShiftCard:
    from castq.files.library import designs as kept
    from castq.files.melt_book import furnace_named, furnaces_of
    from castq.report.melt_card import ShiftCard

    since, until = hours
    names = (furnace_named(log, furnace),) if furnace else furnaces_of(log)
    library = kept(designs) if designs.is_dir() else None
    answers = [_answer(log, name, target, until, library) for name in names]
    aim = f"{target.hydrogen_ml_100g:g} ml/100g"
    if target.density_index_pct is not None:
        aim += f", density index {target.density_index_pct:g} % at {target.density_index_pressure_mbar:g} mbar"
    book = log.name if "://" in log.name else Path(log.name).name
    return ShiftCard(
        since, until, book, log.head().note, f"{aim}, {100 * target.sure:g} % sure",
        tuple(a for a in answers if a is not None), _samples(log, target, since, until, furnace and names[0]),
        _charts(log, names, until), _grounds(log, names, until),
    )  # fmt: skip


def _answer(log: LogBook, furnace: str, target: MeltTarget, until: datetime, library: Any) -> FurnaceAnswer | None:
    """Return what the card says of a furnace; None when it has no sample."""
    from castq.files.melt_book import furnace_now
    from castq.melt.clocks import good_until
    from castq.melt.judge import judge, melt_draws_of
    from castq.melt.release import release as hold_against
    from castq.report.melt_card import FurnaceAnswer

    state = furnace_now(log, furnace, until)
    if not state.samples:
        return None
    at, old = answer_moment(state.samples, until)
    notes = (*old, *state.notes)
    try:
        answer = judge(state.samples, target, state.kinetics, state.air, now=at)
        draws = melt_draws_of(state.samples, state.kinetics, state.air, now=at).hydrogen_ml_100g
        table = hold_against(library, draws, alloy=state.samples[-1].alloy) if library is not None else None
    except InputError as error:
        return FurnaceAnswer(furnace, None, "; ".join(str(fault) for fault in error.faults), at, notes)
    clocks = (*answer.clocks, *good_until(state.additions, state.treatments))
    return FurnaceAnswer(furnace, answer, "", at, notes, clocks, table)


def _samples(
    log: LogBook, target: MeltTarget, since: datetime, until: datetime, furnace: str
) -> tuple[SampleAnswer, ...]:
    from castq.files.melt_book import air_at
    from castq.melt.judge import judge
    from castq.melt.records import record_of
    from castq.melt.types import Sample
    from castq.report.melt_card import SampleAnswer

    found = []
    entries = log.entries("sample", furnace or None, since, until + timedelta(seconds=1))
    for entry in sorted(entries, key=lambda e: e.at, reverse=True)[:_MOST]:
        sample = record_of(entry.kind, entry.payload, entry.at)
        if not isinstance(sample, Sample):
            continue
        try:
            answer = judge([sample], target, None, air_at(log, sample.taken_at), draws=1024)
        except InputError:
            answer = None
        found.append(SampleAnswer(entry.sequence, sample, answer))
    return tuple(found)


def _charts(log: LogBook, names: tuple[str, ...], until: datetime) -> tuple[Any, ...]:
    """Return the charts that the card shows: the density index of each furnace, worst first."""
    from castq.files.melt_frames import samples_frame
    from castq.melt.charting import chart_samples
    from castq.report.melt_chart_text import told_first

    frame = samples_frame(log, names[0] if len(names) == 1 else None, until - CHARTED, until + timedelta(seconds=1))
    if frame.empty:
        return ()
    groups = told_first(chart_samples(frame, by="furnace"))
    single = len(names) == 1
    return tuple(g for g in groups if single or g.quantity.name == "density_index_pct" or g.state.startswith("drifted"))


def _grounds(log: LogBook, names: tuple[str, ...], until: datetime) -> tuple[str, ...]:
    from castq.files.melt_book import furnace_now
    from castq.report.melt_words import kinetics_words

    used = [furnace_now(log, name, until).kinetics for name in names]
    return tuple(dict.fromkeys(kinetics_words(k, o.hash_of(k)) for k in used))


def _write_card(made: ShiftCard, out: Path, force: bool) -> list[Path]:
    from castq.files.atomic import staged_folder
    from castq.report.melt_card import card_html
    from castq.report.melt_card_pdf import card_chart_png, card_pdf

    picture = card_chart_png(made.charts)
    files: dict[str, bytes] = {"card.html": card_html(made, picture).encode("utf-8"), "card.pdf": card_pdf(made)}
    if picture:
        files["chart.png"] = picture
    with staged_folder(out, force=force) as folder:
        for name, data in files.items():
            (folder / name).write_bytes(data)
    return [out / name for name in files]


def demo(out: Path = DEMO_OUT, force: bool = o.FORCE, as_json: bool = JSON_OPTION) -> None:
    """Write an invented week of melts (SYNTHETIC), import it, judge it, chart it and make the shift's card.

    Example: castq melt demo --out castq-melt-demo
    """
    from castq.files.atomic import staged_folder
    from castq.report.melt_card_text import card_text, demo_to_dict

    with staged_folder(out, force=force) as folder:
        made, counts = _demo(folder)
        files = _write_card(made, folder / "card", force=False)
    shown = [out / "card" / path.name for path in files] + [out / "charts" / "charts.html", out / "melts.db"]
    o.tell(as_json, lambda: demo_to_dict(made, counts, shown),
           lambda: f"SYNTHETIC: an invented week, no real plant. {counts}.\n\n{card_text(made, shown)}\n\n"
           f"Go on with, for example:\n  castq melt chart --book {out / 'melts.db'}\n"
           f"  castq melt judge --last 2 --now {made.until.isoformat()} --book {out / 'melts.db'}")  # fmt: skip


def _demo(folder: Path) -> tuple[ShiftCard, str]:
    """Write the week, import it, chart it, and return the card of its last hours."""
    from castq.cli.melt_look import charts_of_frame, draw_charts
    from castq.files.logbook.import_rows import import_rows
    from castq.files.logbook.mapping import read_mapping
    from castq.files.melt_demo import write_melt_demo
    from castq.files.melt_frames import samples_frame

    week = write_melt_demo(folder)
    with o.opened(str(folder / "melts.db"), create=True) as log:
        result = import_rows(log, week.table, read_mapping(week.mapping), entered_by="castq demo (SYNTHETIC)")
        frame = samples_frame(log)
        last = log.entries("sample", last=1)[0].at
        until = last + timedelta(minutes=10)
        draw_charts(charts_of_frame(frame, "2 %"), folder / "charts", force=False)
        made = _card(log, o.target_of("0.12 ml/100g", "", "80 mbar", "95 %"), (until - timedelta(hours=12), until), "",
                     folder / "castq-designs")  # fmt: skip
    return made, result.words


def add_commands(app: typer.Typer) -> None:
    """Add this module's commands to the app."""
    for command in (release, card, demo):
        app.command(command.__name__)(command)

"""Commands that look back: control charts, measurement study, and learning a furnace's kinetics."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from castq.cli import melt_options as o
from castq.cli.catalogue import JSON_OPTION
from castq.core.errors import EXIT_VERDICT_NEGATIVE, InputError, input_error, nearest, plain
from castq.core.quantities import parse_quantity

if TYPE_CHECKING:
    from pandas import DataFrame

    from castq.melt.chart_types import ChartBook
    from castq.melt.fit import FitResult
    from castq.report.melt_chart_text import SampleSize

QUANTITY = typer.Option("density_index_pct", "--quantity", help="density_index_pct or hydrogen_ml_100g.")
SINCE = typer.Option("", "--since", help='Only the last "90 d"; the whole book when not given.')
OUT = typer.Option(None, "--out", help="Folder for pictures and page; none are written when not given.")
LIMIT = typer.Option("2 %", "--limit", help="Limit of the mean density index, for capability and sample sizes.")
GROUPED = typer.Option("furnace", "--grouped", help="Melts grouped by furnace or by operator.")
ROTOR = typer.Option("", "--rotor", help="Rotor, where the furnace has had several.")
NAME = typer.Option("", "--name", help="Name of the calibration; furnace and rotor when not given.")
FIT_OUT = typer.Option(None, "--out", help="File of the calibration; NAME.toml when not given.")


def chart(
    furnace: str = o.FURNACE,
    since: str = SINCE,
    limit: str = LIMIT,
    out: Path | None = OUT,
    force: bool = o.FORCE,
    book: str = o.BOOK,
    as_json: bool = JSON_OPTION,
) -> None:
    """Chart density index and hydrogen by furnace and shift, and say in words what has changed and since when.

    Exit code 0: nothing has changed; 1: something has.

    Example: castq melt chart --out charts
    """
    from castq.report.melt_chart_text import charts_text, signalled
    from castq.report.melt_exports import charts_to_dict

    if out is not None:
        from castq.files.atomic import check_out

        check_out(out, force)
    charts = _charts(book, furnace, since, limit)
    files = [] if out is None else draw_charts(charts, out, force)
    o.tell(as_json, lambda: charts_to_dict(charts, files), lambda: charts_text(charts, files))
    raise typer.Exit(EXIT_VERDICT_NEGATIVE if signalled(charts) else 0)


def _charts(book: str, furnace: str, since: str, limit: str) -> ChartBook:
    from castq.files.melt_book import furnace_named
    from castq.files.melt_frames import samples_frame

    start = o.clock_now() - o.span(since, "--since") if since else None
    with o.opened(book) as log:
        frame = samples_frame(log, furnace_named(log, furnace) if furnace else None, start)
        if frame.empty:
            raise input_error(log.name, "samples", "there is none to chart", "", "enter samples first")
    return charts_of_frame(frame, limit)


def charts_of_frame(frame: DataFrame, limit: str) -> ChartBook:
    """Return the charts of samples, with the capability against a written limit of the density index."""
    from castq.melt.chart_types import ChartRules
    from castq.melt.charting import chart_samples

    limit_pct = parse_quantity(limit, "percent", o.HERE, "--limit")
    return chart_samples(frame, ChartRules(upper_limits={"density_index_pct": limit_pct}))


def draw_charts(charts: ChartBook, out: Path, force: bool) -> list[Path]:
    """Write one picture for each furnace, and a page with all of them."""
    from castq.files.atomic import staged_folder
    from castq.report.chart_figures import chart_png
    from castq.report.melt_card import charts_html

    names = dict.fromkeys(g.furnace for g in charts.groups if not g.shift)
    drawn = [chart_png([g for g in charts.groups if g.furnace == name and not g.shift]) for name in names]
    files = {f"chart-{number}.png": png for number, png in enumerate(drawn, start=1)}
    with staged_folder(out, force=force) as folder:
        (folder / "charts.html").write_text(charts_html(charts, drawn), encoding="utf-8")
        for name, png in files.items():
            (folder / name).write_bytes(png)
    return [out / name for name in ("charts.html", *files)]


def study(
    furnace: str = o.FURNACE,
    quantity: str = QUANTITY,
    grouped: str = GROUPED,
    limit: str = LIMIT,
    sure: str = o.SURE,
    out: Path | None = OUT,
    force: bool = o.FORCE,
    book: str = o.BOOK,
    as_json: bool = JSON_OPTION,
) -> None:
    """Study the reduced-pressure test itself: how much of the spread is its own, and how many pairs a melt needs.

    It rests on pairs taken side by side from one melt; the sample is destroyed, so melts are nested in furnaces.

    Example: castq melt study --limit "2 %"
    """
    from castq.files.melt_book import furnace_named
    from castq.files.melt_frames import pairs_frame
    from castq.melt.repeat_study import study_repeats
    from castq.report.melt_chart_text import study_text
    from castq.report.melt_exports import study_to_dict

    if grouped not in ("furnace", "operator"):
        raise input_error(o.HERE, "--grouped", f"'{plain(grouped, 40)}'", "furnace or operator", "choose one")
    if quantity not in ("density_index_pct", "hydrogen_ml_100g"):
        known = ("density_index_pct", "hydrogen_ml_100g")
        raise input_error(o.HERE, "--quantity", f"'{plain(quantity, 40)}'", "", nearest(quantity, known))
    if out is not None:
        from castq.files.atomic import check_out

        check_out(out, force)
    limit_pct, certainty = _percents(limit, sure)
    with o.opened(book) as log:
        frame = pairs_frame(log, furnace_named(log, furnace) if furnace else None)
    result, why_not = None, ""
    try:
        result = study_repeats(frame, quantity, grouped)  # type: ignore[arg-type]
    except InputError as error:
        why_not = "; ".join(str(fault) for fault in error.faults)
    able = [g.capability_words for g in _charts(book, furnace, "", limit).groups if g.capability_words and not g.shift]
    sizes = _sizes(limit_pct, certainty)
    words = f"to prove the mean below {limit_pct:g} % with {100 * certainty:g} % certainty"
    files = [] if out is None or result is None else _draw_study(result, out, force)
    more = {"why_not": why_not, "capability": able, "sample_sizes": sizes, "limit_pct": limit_pct, "sure": certainty,
            "files": files}  # fmt: skip
    o.tell(as_json, lambda: study_to_dict(result, more), lambda: study_text(result, why_not, able, sizes, words))


def _percents(limit: str, sure: str) -> tuple[float, float]:
    limit_pct = parse_quantity(limit, "percent", o.HERE, "--limit")
    certainty = o.target_of("0.12 ml/100g", limit, "80 mbar", sure).sure
    return limit_pct, certainty


def _sizes(limit_pct: float, sure: float) -> list[SampleSize]:
    """Return how many pairs prove a mean below the limit, for means closer and closer to it."""
    import numpy as np

    from castq.melt.defaults import SINGLE_PAIR_SHARE
    from castq.report.melt_chart_text import SampleSize
    from castq.statistics.planning import mean_proof_sample_size

    means = limit_pct * np.array([0.5, 0.6, 0.7, 0.8, 0.9, 0.95])
    numbers = mean_proof_sample_size((limit_pct - means) / (SINGLE_PAIR_SHARE * means), sure)
    return [SampleSize(float(m), int(n) if np.isfinite(n) else None) for m, n in zip(means, numbers, strict=True)]


def _draw_study(result: Any, out: Path, force: bool) -> list[Path]:
    from castq.files.atomic import staged_folder
    from castq.report.melt_figures import repeats_png

    with staged_folder(out, force=force) as folder:
        (folder / "study.png").write_bytes(repeats_png(result))
    return [out / "study.png"]


def fit(
    furnace: str = o.FURNACE,
    rotor: str = ROTOR,
    name: str = NAME,
    out: Path | None = FIT_OUT,
    force: bool = o.FORCE,
    by: str = o.BY,
    book: str = o.BOOK,
    as_json: bool = JSON_OPTION,
) -> None:
    """Learn rate and floor of a furnace and rotor from the treatments in the book that have readings before and after.

    The calibration is stored under its name beside a picture of the residuals; with --by also in the book, and
    castq melt judge --last then uses it.

    Exit code 0: the data tell both; 1: they cannot tell rate and floor apart.

    Example: castq melt fit --furnace 1 --rotor R1 --by "A. Melter"
    """
    from castq.files.melt_book import enter, furnace_named
    from castq.files.melt_calibration import write_calibration
    from castq.files.melt_frames import treated
    from castq.melt.fit import fit_kinetics
    from castq.report.melt_chart_text import fit_text
    from castq.report.melt_exports import fit_to_dict

    with o.opened(book) as log:
        data = treated(log, furnace_named(log, o.needed(furnace, "--furnace", "1")), rotor)
        called = name.strip() or "-".join(part for part in ("furnace", data.furnace, data.rotor) if part)
        result = fit_kinetics(data.runs, data.air_ml_100g, name=called, furnace=data.furnace, rotor=data.rotor)
        path = out or Path(f"{_file_name(called)}.toml")
        digest = write_calibration(path, result, force=force)
        files = [path, _draw_fit(result, path, force)]
        rows = enter(log, [result.kinetics], by) if by.strip() else []
    written = [row.sequence for row in rows]
    more = {"unused": data.unused, "treatments": len(data.runs), "files": files, "rows": written}
    o.tell(as_json, lambda: fit_to_dict(result, digest, more), lambda: fit_text(result, digest, data.unused, files))
    raise typer.Exit(0 if result.identified else EXIT_VERDICT_NEGATIVE)


def _file_name(name: str) -> str:
    """Return a name as that of a file: letters, figures and dashes only."""
    return "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "-" for c in name)[:80].strip("-") or "kinetics"


def _draw_fit(result: FitResult, path: Path, force: bool) -> Path:
    import numpy as np

    from castq.files.atomic import write_bytes
    from castq.report.melt_chart_text import fit_words, sigmas_of
    from castq.report.melt_figures import FitDrawing, fit_png

    runs = list(dict.fromkeys(r.run for r in result.residuals))
    columns = {name: np.array([getattr(r, name) for r in result.residuals]) for name in (
        "minutes", "measured_ml_100g", "fitted_ml_100g")}  # fmt: skip
    drawing = FitDrawing(
        result.kinetics.name, fit_words(result), np.array([runs.index(r.run) for r in result.residuals]),
        columns["minutes"], columns["measured_ml_100g"], columns["fitted_ml_100g"], sigmas_of(result),
    )  # fmt: skip
    picture = path.with_suffix(".png")
    write_bytes(picture, fit_png(drawing), force=force)
    return picture


def add_commands(app: typer.Typer) -> None:
    """Add this module's commands to the app."""
    for command in (chart, study, fit):
        app.command(command.__name__)(command)

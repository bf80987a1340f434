"""Commands of the foundry engineer: screen one design, compare two, and the demo wheel."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from castq.cli.catalogue import JSON_OPTION
from castq.core.errors import EXIT_VERDICT_NEGATIVE

if TYPE_CHECKING:
    from castq.files.intake import Design
    from castq.screening.fields import WheelFields
    from castq.screening.types import Comparison, Screening

ALLOY = typer.Option("", "--alloy", help="Alloy, when SOURCE is a shape or a section table; for example AlSi7Mg0.3.")
UNITS = typer.Option("", "--units", help="Unit of the coordinates in a shape file: mm, cm, m or in.")
BODY = typer.Option("", "--body", help="Which body of the file is the wheel, when it holds several.")
VOXEL = typer.Option("", "--voxel", help='Voxel size for the shape; "2 mm" when not given.')
DRAWS = typer.Option(256, "--draws", min=16, max=8192, help="Random draws for the bands.")
SEED = typer.Option(1, "--seed", min=0, help="Seed of the draws.")
OUT = typer.Option(None, "--out", help="Folder for the report; made beside the source when not given.")
FORCE = typer.Option(False, "--force", help="Replace an earlier report in the folder.")
DEMO_OUT = typer.Option(Path("castq-demo"), "--out", help="Folder to write the demo into.")
SOURCE = typer.Argument(..., help="Case file (.toml), shape (.stl .ply .obj .3mf .step) or section table.")
DESIGN_A = typer.Argument(..., help="Design A: case file, shape or section table.")
DESIGN_B = typer.Argument(..., help="Design B.")
PICTURES = typer.Option(True, "--pictures/--no-pictures", help="Draw the figures and the three-dimensional view.")


def screen(
    source: Path = SOURCE,
    alloy: str = ALLOY,
    units: str = UNITS,
    body: str = BODY,
    voxel: str = VOXEL,
    draws: int = DRAWS,
    seed: int = SEED,
    out: Path | None = OUT,
    force: bool = FORCE,
    pictures: bool = PICTURES,
    as_json: bool = JSON_OPTION,
) -> None:
    """Screen one wheel design: freezing, SDAS, porosity risk and tensile properties by zone, held against limits.

    Example: castq screen wheel.stl --alloy AlSi7Mg0.3
    """
    from castq.report.exports import screening_to_dict
    from castq.report.terminal import screening_text

    _check_out_first(source, "screening", out, force, as_json)
    design, result = _screen_one(source, alloy, units, body, voxel, draws, seed)
    if as_json:
        typer.echo(json.dumps(screening_to_dict(result), indent=2, ensure_ascii=False, allow_nan=False))
    if out is not None or not as_json:
        folder = _write_screening(design, result, out or _default_out(source, "screening"), force, pictures)
        if not as_json:
            typer.echo(screening_text(result))
            typer.echo(f"\nreport: {folder / 'report.html'}")
    raise typer.Exit(EXIT_VERDICT_NEGATIVE if result.verdict == "fails" else 0)


def compare(
    a: Path = DESIGN_A,
    b: Path = DESIGN_B,
    alloy: str = ALLOY,
    units: str = UNITS,
    voxel: str = VOXEL,
    draws: int = DRAWS,
    seed: int = SEED,
    out: Path | None = OUT,
    force: bool = FORCE,
    pictures: bool = PICTURES,
    as_json: bool = JSON_OPTION,
) -> None:
    """Compare two designs with the same random draws: zone by zone which is better, by how much, how surely.

    Example: castq compare a.toml b.toml
    """
    from castq.report.exports import comparison_to_dict
    from castq.report.terminal import comparison_text
    from castq.screening.compare import compare as hold_against

    _check_out_first(a, "comparison", out, force, as_json)
    design_a, result_a = _screen_one(a, alloy, units, "", voxel, draws, seed)
    design_b, result_b = _screen_one(b, alloy, units, "", voxel, draws, seed)
    result = hold_against(result_a, result_b)
    if as_json:
        typer.echo(json.dumps(comparison_to_dict(result), indent=2, ensure_ascii=False, allow_nan=False))
    if out is not None or not as_json:
        folder = _write_comparison((design_a, design_b), result, out or _default_out(a, "comparison"), force, pictures)
        if not as_json:
            typer.echo(comparison_text(result))
            typer.echo(f"\nreport: {folder / 'report.html'}")
    raise typer.Exit(EXIT_VERDICT_NEGATIVE if result.verdict == "A better" else 0)


def demo(
    out: Path = DEMO_OUT,
    force: bool = FORCE,
    pictures: bool = PICTURES,
) -> None:
    """Write an invented wheel with two spoke variants, screen both and compare them (all data SYNTHETIC).

    Example: castq demo --out castq-demo
    """
    from castq.files.atomic import staged_folder
    from castq.files.demo import write_demo
    from castq.report.bundle import write_comparison_bundle, write_screening_bundle
    from castq.report.terminal import comparison_text, screening_text
    from castq.screening.compare import compare as hold_against

    with staged_folder(out, force=force) as folder:
        typer.echo("writing two invented wheels (SYNTHETIC) ...", err=True)
        cases = write_demo(folder)
        screened = []
        for case in cases:
            typer.echo(f"screening {case.name} ...", err=True)
            design, result = _screen_one(case, "", "", "", "", 256, 1)
            write_screening_bundle(folder / case.stem, result, _fields(design, result), pictures=pictures)
            screened.append((design, result))
        comparison = hold_against(screened[0][1], screened[1][1])
        typer.echo("comparing A and B ...", err=True)
        fields = (_fields(*screened[0]), _fields(*screened[1]))
        write_comparison_bundle(folder / "compare", comparison, fields, pictures=pictures)
    typer.echo(screening_text(screened[0][1]))
    typer.echo("")
    typer.echo(comparison_text(comparison))
    typer.echo(f"\nreports: {out / cases[0].stem / 'report.html'}")
    typer.echo(f"         {out / cases[1].stem / 'report.html'}")
    typer.echo(f"         {out / 'compare' / 'report.html'}")


def _fields(design: Design, result: Screening) -> WheelFields | None:
    """Return the wheel as pictures need it; None when the design came from a section table."""
    from castq.screening.fields import wheel_fields

    return None if design.shape is None else wheel_fields(design.case, design.shape, result)


def _default_out(source: Path, what: str) -> Path:
    return source.parent / f"{source.stem}-{what}"


def _check_out_first(source: Path, what: str, out: Path | None, force: bool, as_json: bool) -> None:
    """Refuse a place for the report before the work, not after it; a source that is missing is told first."""
    from castq.files.atomic import check_out
    from castq.files.intake import check_source

    check_source(source)
    if out is not None or not as_json:
        check_out(out or _default_out(source, what), force)


def _screen_one(
    source: Path, alloy: str, units: str, body: str, voxel: str, draws: int, seed: int
) -> tuple[Design, Screening]:
    from castq.files.intake import read_design
    from castq.screening.screen import screen as run_chain

    design = read_design(source, alloy=alloy, units=units, body=body, voxel=voxel)
    return design, run_chain(design.case, draws=draws, seed=seed)


def _write_screening(design: Design, result: Screening, out: Path, force: bool, pictures: bool) -> Path:
    from castq.files.atomic import staged_folder
    from castq.report.bundle import write_screening_bundle

    with staged_folder(out, force=force, inputs=design.inputs) as folder:
        write_screening_bundle(folder, result, _fields(design, result), pictures=pictures)
    return out


def _write_comparison(
    designs: tuple[Design, Design], result: Comparison, out: Path, force: bool, pictures: bool
) -> Path:
    from castq.files.atomic import staged_folder
    from castq.report.bundle import write_comparison_bundle

    with staged_folder(out, force=force, inputs=(*designs[0].inputs, *designs[1].inputs)) as folder:
        write_comparison_bundle(
            folder, result, (_fields(designs[0], result.a), _fields(designs[1], result.b)), pictures=pictures
        )
    return out


def add_commands(app: typer.Typer) -> None:
    """Add this module's commands to the app."""
    for command in (screen, compare, demo):
        app.command(command.__name__)(command)

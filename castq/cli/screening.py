"""Commands of the foundry engineer: screen one design, compare two, and the demo wheel."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from castq.cli.catalogue import JSON_OPTION
from castq.core.errors import EXIT_VERDICT_NEGATIVE, input_error, plain

if TYPE_CHECKING:
    from castq.files.intake import Design
    from castq.screening.fields import WheelFields
    from castq.screening.solid import SolidDepth
    from castq.screening.types import Comparison, Screening

DEPTHS = ("section", "solid")
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
DEPTH = typer.Option(
    "section",
    "--depth",
    help="What the zones rest on: section, a table of walls (fast); solid, the shape solved in 3-D.",
)
STUDY = typer.Option(
    True, "--study/--no-study", help="At solid depth, solve once more on coarser voxels: how far the grid may be off."
)
KEEP = typer.Option(
    None, "--keep", help="Folder that keeps the design for the melt desk, for example castq-designs; made when needed."
)
PICTURES = typer.Option(True, "--pictures/--no-pictures", help="Draw the figures and the three-dimensional view.")


def screen(
    source: Path = SOURCE,
    alloy: str = ALLOY,
    units: str = UNITS,
    body: str = BODY,
    voxel: str = VOXEL,
    draws: int = DRAWS,
    seed: int = SEED,
    depth: str = DEPTH,
    study: bool = STUDY,
    out: Path | None = OUT,
    force: bool = FORCE,
    pictures: bool = PICTURES,
    keep: Path | None = KEEP,
    as_json: bool = JSON_OPTION,
) -> None:
    """Screen one wheel design: freezing, SDAS, porosity risk and tensile properties by zone, held against limits.

    Example: castq screen wheel.stl --alloy AlSi7Mg0.3
    """
    from castq.report.exports import screening_to_dict
    from castq.report.terminal import screening_text

    wanted = Wanted(alloy, units, body, voxel, draws, seed, _depth(depth), study)
    _check_out_first(source, "screening", out, force, as_json)
    _check_library_first(keep)
    one = _screen_one(source, wanted)
    if as_json:
        typer.echo(json.dumps(screening_to_dict(one.result), indent=2, ensure_ascii=False, allow_nan=False))
    if out is not None or not as_json:
        folder = _write_screening(one, out or _default_out(source, "screening"), force, pictures)
        if not as_json:
            typer.echo(screening_text(one.result))
            typer.echo(f"\nreport: {folder / 'report.html'}")
    _keep(keep, one.result)
    raise typer.Exit(EXIT_VERDICT_NEGATIVE if one.result.verdict == "fails" else 0)


def compare(
    a: Path = DESIGN_A,
    b: Path = DESIGN_B,
    alloy: str = ALLOY,
    units: str = UNITS,
    voxel: str = VOXEL,
    draws: int = DRAWS,
    seed: int = SEED,
    depth: str = DEPTH,
    study: bool = STUDY,
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

    wanted = Wanted(alloy, units, "", voxel, draws, seed, _depth(depth), study)
    _check_out_first(a, "comparison", out, force, as_json)
    both = (_screen_one(a, wanted), _screen_one(b, wanted))
    result = hold_against(both[0].result, both[1].result)
    if as_json:
        typer.echo(json.dumps(comparison_to_dict(result), indent=2, ensure_ascii=False, allow_nan=False))
    if out is not None or not as_json:
        folder = _write_comparison(both, result, out or _default_out(a, "comparison"), force, pictures)
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
            one = _screen_one(case, Wanted())
            write_screening_bundle(folder / case.stem, one.result, one.fields, pictures=pictures)
            screened.append(one)
        comparison = hold_against(screened[0].result, screened[1].result)
        typer.echo("comparing A and B ...", err=True)
        fields = (screened[0].fields, screened[1].fields)
        write_comparison_bundle(folder / "compare", comparison, fields, pictures=pictures)
    typer.echo(screening_text(screened[0].result))
    typer.echo("")
    typer.echo(comparison_text(comparison))
    typer.echo(f"\nreports: {out / cases[0].stem / 'report.html'}")
    typer.echo(f"         {out / cases[1].stem / 'report.html'}")
    typer.echo(f"         {out / 'compare' / 'report.html'}")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked of a screening beside its source."""

    alloy: str = ""
    units: str = ""
    body: str = ""
    voxel: str = ""
    draws: int = 256
    seed: int = 1
    depth: str = "section"
    study: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Screened:
    """A design, its screening, and the solved field behind it when there is one."""

    design: Design
    result: Screening
    solid: SolidDepth | None

    @property
    def fields(self) -> WheelFields | None:
        """The wheel as pictures need it; None when the design came from a section table."""
        from castq.screening.fields import wheel_fields

        design = self.design
        return None if design.shape is None else wheel_fields(design.case, design.shape, self.result, self.solid)


def _depth(word: str) -> str:
    """Return the depth that is asked for, or refuse a word that is none."""
    if word not in DEPTHS:
        raise input_error("command line", "--depth", f"'{plain(word, 40)}' is not a depth", " or ".join(DEPTHS),
                          "give for example --depth solid")  # fmt: skip
    return word


def _default_out(source: Path, what: str) -> Path:
    return source.parent / f"{source.stem}-{what}"


def _check_out_first(source: Path, what: str, out: Path | None, force: bool, as_json: bool) -> None:
    """Refuse a place for the report before the work, not after it; a source that is missing is told first."""
    from castq.files.atomic import check_out
    from castq.files.intake import check_source

    check_source(source)
    if out is not None or not as_json:
        check_out(out or _default_out(source, what), force)


def _check_library_first(folder: Path | None) -> None:
    """Refuse a folder that the design cannot be kept in before the work, not after it."""
    if folder is not None:
        from castq.files.library import check_folder

        check_folder(folder)


def _keep(folder: Path | None, result: Screening) -> None:
    """Keep a screened design for the melt desk; where it stands goes to stderr."""
    if folder is not None:
        from castq.files.library import keep

        typer.echo(f"kept: {keep(folder, result)}", err=True)


def _screen_one(source: Path, wanted: Wanted) -> Screened:
    from castq.files.intake import read_design
    from castq.screening.screen import screen as run_chain

    design = read_design(source, alloy=wanted.alloy, units=wanted.units, body=wanted.body, voxel=wanted.voxel)
    solid = _solved(source, design, wanted.study) if wanted.depth == "solid" else None
    return Screened(design, run_chain(design.case, draws=wanted.draws, seed=wanted.seed, solid=solid), solid)


def _solved(source: Path, design: Design, study: bool) -> SolidDepth:
    """Return the solved field of a design; its progress goes to stderr."""
    from castq.screening.solid import solve_solid

    if design.shape is None:
        raise input_error(
            source.name, "--depth", "a section table has no shape to solve", "a shape",
            "use --depth section, or give the shape",
        )  # fmt: skip
    return solve_solid(design.case, design.shape, study=study, progress=lambda words: typer.echo(words, err=True))


def _write_screening(one: Screened, out: Path, force: bool, pictures: bool) -> Path:
    from castq.files.atomic import staged_folder
    from castq.report.bundle import write_screening_bundle

    with staged_folder(out, force=force, inputs=one.design.inputs) as folder:
        write_screening_bundle(folder, one.result, one.fields, solid=one.solid, pictures=pictures)
    return out


def _write_comparison(
    both: tuple[Screened, Screened], result: Comparison, out: Path, force: bool, pictures: bool
) -> Path:
    from castq.files.atomic import staged_folder
    from castq.report.bundle import write_comparison_bundle

    a, b = both
    with staged_folder(out, force=force, inputs=(*a.design.inputs, *b.design.inputs)) as folder:
        write_comparison_bundle(folder, result, (a.fields, b.fields), solids=(a.solid, b.solid), pictures=pictures)
    return out


def add_commands(app: typer.Typer) -> None:
    """Add this module's commands to the app."""
    for command in (screen, compare, demo):
        app.command(command.__name__)(command)

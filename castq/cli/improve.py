"""The command that finds what moves the risk of a wheel, and the designed sweep that is the same machine."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from castq.cli.catalogue import JSON_OPTION
from castq.cli.screening import ALLOY, BODY, DRAWS, PICTURES, SEED, SOURCE, UNITS, VOXEL
from castq.core.errors import EXIT_VERDICT_NEGATIVE, input_error

if TYPE_CHECKING:
    from castq.files.intake import Design
    from castq.files.sweep_journal import Solver, Solves
    from castq.screening.improve import Ends
    from castq.screening.variant import Basis

OVER = typer.Option(
    [], "--over", help='Try only this lever, over this range: "spoke_thickness=18..24 mm". May be given several times.'
)
SWEEP = typer.Option(0, "--sweep", help="Solve this many variants of a Latin hypercube over the levers instead.")
BUDGET = typer.Option(None, "--budget", help="Most solves, the case itself among them; the whole plan when not given.")
DEPTH = typer.Option("section", "--depth", help="section: wall sections, quick; solid: the real shape, solved anew.")
WORKERS = typer.Option(None, "--workers", min=1, help="Processes at work; as many as there are cores when not given.")
CLUSTER = typer.Option("", "--cluster", help="Address of a Dask scheduler to solve on, for example tcp://host:8786.")
OUT = typer.Option(None, "--out", help="Folder for report and journal of solves; the same folder goes on where it was.")
FORCE = typer.Option(False, "--force", help="Begin anew in a folder that holds something else.")
# Below this a second process takes longer to start than it saves [s].
WORTH_PROCESSES_S = 8.0
MOST_VARIANTS = 100_000
FEWEST_VARIANTS = 8


def improve(
    source: Path = SOURCE,
    over: list[str] = OVER,
    sweep: int = SWEEP,
    budget: int | None = BUDGET,
    depth: str = DEPTH,
    workers: int | None = WORKERS,
    cluster: str = CLUSTER,
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
    """Find which levers move the risk of the worst zones, and how far, by solving each change anew.

    Levers of the shape need a case that gives the wheel's measures in a table [wheel]; castq demo writes one.

    Example: castq improve wheel_a_parameters.toml
    """
    from castq.files.intake import check_source, read_design
    from castq.screening.improve_ranges import read_ranges

    _check_numbers(sweep, budget, depth)
    check_source(source)
    folder = None if as_json and out is None else _folder(source, out, force, sweep)
    began = time.perf_counter()
    design = read_design(source, alloy=alloy, units=units, body=body, voxel=voxel)
    reading_s = time.perf_counter() - began
    basis = _basis(design, depth, draws, seed)
    chosen = read_ranges(over, basis.state)
    journal = _journal(folder, basis, force)
    try:
        solver = _Solver(basis, journal, workers, cluster)
        output = _Output(folder, as_json, pictures)
        if sweep:
            _sweep(solver, chosen, (sweep, seed), reading_s, output)
        else:
            _improve(solver, chosen, budget, reading_s, output)
    except KeyboardInterrupt:
        if journal is not None:
            typer.echo(f"castq: {len(journal.solved)} solves are kept in {folder}; the same command goes on", err=True)
        raise
    finally:
        if journal is not None:
            journal.close()


def _check_numbers(sweep: int, budget: int | None, depth: str) -> None:
    if depth not in ("section", "solid"):
        raise _refused("--depth", f"'{depth}' is no depth", "section or solid", "choose one of the two")
    if budget is not None and budget < 2:
        raise _refused("--budget", f"{budget} solves", "2 or more: the case itself and one variant", "raise it")
    if sweep and not FEWEST_VARIANTS <= sweep <= MOST_VARIANTS:
        raise _refused("--sweep", f"{sweep} variants", f"{FEWEST_VARIANTS} to {MOST_VARIANTS:,}", "change the number")
    if sweep and budget is not None and sweep + 1 > budget:
        found = f"{budget} solves do not hold the case itself and {sweep} variants"
        raise _refused("--budget", found, f"{sweep + 1} or more", "raise it, or sweep fewer variants")


def _refused(option: str, found: str, expected: str, mend: str) -> Exception:
    return input_error("command line", option, found, expected, mend)


def _folder(source: Path, out: Path | None, force: bool, sweep: int) -> Path:
    from castq.files.sweep_journal import study_folder

    return study_folder(out or source.parent / f"{source.stem}-{'sweep' if sweep else 'improve'}", force)


def _basis(design: Design, depth: str, draws: int, seed: int) -> Basis:
    from castq.screening.levers import State
    from castq.screening.variant import Basis

    solid = depth == "solid"
    if solid and design.shape is None:
        raise _refused("--depth", "the case has no shape", "a shape for solid depth", "give one, or use section depth")
    mesh = design.shape.mesh if solid and design.shape is not None and design.wheel is None else None
    state = State(design.case, "solid" if solid else "section", design.wheel, design.measuring)
    return Basis(state, draws, seed, mesh)


def _journal(folder: Path | None, basis: Basis, force: bool) -> Any:
    from castq.files.sweep_journal import open_journal

    return None if folder is None else open_journal(folder, basis, force)


class _Solver:
    """Solves variants as the command line says, and tells on stderr how far it is."""

    def __init__(self, basis: Basis, journal: Any, workers: int | None, cluster: str) -> None:
        from castq.files.sweep_journal import Solves

        self.basis, self.workers, self.cluster = basis, workers, cluster
        self.parallel = False
        self.solves: Solves = Solves(basis, self._solver(), journal, self._told)

    def _solver(self) -> Solver:
        from castq.screening.workers import cores, solve_here, solve_on_cluster, solve_parallel

        def solver(basis: Basis, changes: Sequence[Any], done: Callable[..., None]) -> None:
            if self.cluster:
                solve_on_cluster(basis, changes, done, self.cluster)
            elif self.parallel and len(changes) > 1:
                solve_parallel(basis, changes, done, self.workers or cores())
            else:
                solve_here(basis, changes, done)

        return solver

    def _told(self, finished: int, asked: int) -> None:
        if sys.stderr.isatty():
            typer.echo(f"\rsolved {finished} of {asked}" + ("\n" if finished == asked else ""), err=True, nl=False)

    def announce(self, solves: int, shaping: int, reading_s: float) -> None:
        """Solve the case itself, then say how many solves are to come and about how long they take [s]."""
        began = time.perf_counter()
        self.solves([()])
        one_s = time.perf_counter() - began
        total_s = (solves - 1) * one_s + shaping * reading_s
        self.parallel = (self.workers or 2) > 1 and total_s > WORTH_PROCESSES_S
        known = f", {len(self.solves.journal_keys)} in the folder already" if self.solves.journal_keys else ""
        about = f"; one process would take about {max(total_s, 1.0):.0f} s" if not known else ""
        typer.echo(f"at most {solves} solves{known}{about}", err=True)


@dataclass(frozen=True, slots=True)
class _Output:
    """Where a result goes: folder (None: none), JSON on stdout or text, pictures or not."""

    folder: Path | None
    as_json: bool
    pictures: bool

    def tell(self, solves: Solves, document: dict[str, Any], text: str, files: dict[str, str | bytes]) -> None:
        """Write the files, the first of which is the one to open, and print the result."""
        from castq.files.atomic import write_bytes

        for name, content in files.items():
            if self.folder is not None:
                data = content.encode("utf-8") if isinstance(content, str) else content
                write_bytes(self.folder / name, data, force=True)
        typer.echo(f"{solves.solved} solved now, {solves.found} taken from the folder", err=True)
        if self.as_json:
            typer.echo(json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False))
        else:
            typer.echo(f"{text}\n\nreport: {self.folder / next(iter(files)) if self.folder else ''}")


def _improve(solver: _Solver, chosen: tuple[Ends, ...], budget: int | None, reading_s: float, output: _Output) -> None:
    from castq.report.improve_bundle import improvement_files
    from castq.report.improve_exports import improvement_to_dict
    from castq.report.improve_text import improve_text
    from castq.report.improve_words import helps
    from castq.screening.improve import full_plan
    from castq.screening.improve import improve as find

    plan = full_plan(solver.basis, chosen)
    allowed = budget or plan.solves
    share = min(1.0, allowed / plan.solves)
    solver.announce(min(allowed, plan.solves), round(share * plan.shaping), reading_s)
    result = find(solver.basis, solver.solves, budget=allowed, chosen=chosen)
    files = improvement_files(result, output.pictures) if output.folder else {}
    output.tell(solver.solves, improvement_to_dict(result), improve_text(result), files)
    raise typer.Exit(0 if helps(result) else EXIT_VERDICT_NEGATIVE)


def _sweep(solver: _Solver, chosen: tuple[Ends, ...], plan: tuple[int, int], reading_s: float, output: _Output) -> None:
    from castq.report.improve_bundle import sweep_files
    from castq.report.improve_exports import sweep_to_dict
    from castq.report.improve_text import sweep_text
    from castq.screening.improve import CASE, planned_ends
    from castq.screening.improve_trial import SHAPE, targets_of
    from castq.screening.sweep import sweep as fill

    count, seed = plan
    base = solver.solves([CASE])[0]
    zones = [target.name for target in targets_of(solver.basis, base)[:-1]]
    ends = planned_ends(solver.basis, zones, chosen)
    rebuilt = any(entry.lever.name in SHAPE for entry in ends)
    solver.announce(count + 1, count if rebuilt else 0, reading_s)
    result = fill(solver.basis, solver.solves, ends, count=count, seed=seed)
    output.tell(solver.solves, sweep_to_dict(result), sweep_text(result), sweep_files(result) if output.folder else {})


def add_commands(app: typer.Typer) -> None:
    """Add this module's command to the app."""
    app.command("improve")(improve)

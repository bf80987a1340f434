"""The `castq` command: the list of commands, and the one place where errors become exit codes."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Sequence

import typer

from castq.cli import catalogue, improve, melt, screening
from castq.cli.interrupt import safe_interrupts
from castq.core.errors import EXIT_BAD_INPUT, EXIT_FAULT, InputError, plain
from castq.core.nomenclature import SCHEMA_VERSION

EXIT_INTERRUPTED = 130

app = typer.Typer(
    name="castq",
    help="Screen cast aluminium wheels: from shape, die and melt to porosity risk zones and tensile properties.",
    epilog="Exit codes: 0 done, 1 done and the verdict is negative, 2 bad input, 3 fault in castq.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
screening.add_commands(app)
improve.add_commands(app)
melt.add_commands(app)
catalogue.add_commands(app)


def _version(shown: bool) -> None:
    if shown:
        from castq import __version__

        typer.echo(f"castq {__version__}")
        raise typer.Exit()


@app.callback()
def main(
    version: bool = typer.Option(
        False, "--version", help="Show the version and stop.", callback=_version, is_eager=True
    ),
) -> None:
    """Screen cast aluminium wheels: from shape, die and melt to porosity risk zones and tensile properties."""


def _report_faults(error: InputError, as_json: bool) -> None:
    for fault in error.faults:
        typer.echo(f"castq: {fault}", err=True)
    if as_json:
        faults = [fault.to_dict() for fault in error.faults]
        typer.echo(json.dumps({"schema_version": SCHEMA_VERSION, "faults": faults}, indent=2, ensure_ascii=False))


def _stopped() -> SystemExit:
    typer.echo("castq: stopped; nothing half-written was left behind", err=True)
    return SystemExit(EXIT_INTERRUPTED)


def _came_of_interrupt(error: BaseException | None) -> bool:
    """Return whether Ctrl-C is behind an error: compiled code wraps it in a SystemError."""
    while error is not None:
        if isinstance(error, KeyboardInterrupt):
            return True
        error = error.__cause__ or error.__context__
    return False


def run(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit with castq's exit code.

    Parameters
    ----------
    arguments : sequence of str, optional
        Command-line words; those of the process when not given.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    try:
        with safe_interrupts():
            app(args=words, prog_name="castq")
    except InputError as error:
        _report_faults(error, "--json" in words)
        raise SystemExit(EXIT_BAD_INPUT) from None
    except KeyboardInterrupt:
        raise _stopped() from None
    except SystemExit as end:
        # typer turns Ctrl-C into this exit without a word
        raise (_stopped() if end.code == EXIT_INTERRUPTED else end) from None
    except MemoryError:
        typer.echo("castq: the machine is out of memory; use a coarser --voxel", err=True)
        raise SystemExit(EXIT_BAD_INPUT) from None
    except Exception as error:
        if _came_of_interrupt(error):
            raise _stopped() from None
        if os.environ.get("CASTQ_DEBUG"):
            raise
        typer.echo(
            f"castq: internal fault, {type(error).__name__}: {plain(error)}; "
            "please report it with the input (CASTQ_DEBUG=1 shows where)",
            err=True,
        )
        raise SystemExit(EXIT_FAULT) from None

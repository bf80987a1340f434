"""Command of the melt desk that takes a plant's own table into the log book."""

from __future__ import annotations

from pathlib import Path

import typer

from castq.cli import melt_options as o
from castq.cli.catalogue import JSON_OPTION
from castq.core.errors import EXIT_BAD_INPUT, EXIT_VERDICT_NEGATIVE

TABLE = typer.Argument(..., help="The plant's table, .csv or .xlsx.")
MAP = typer.Option(..., "--map", help="Mapping (.toml): which column gives what, in which unit and marks.")
CHECK = typer.Option(False, "--check", help="Write nothing; say what an import would do.")
ACCEPT_GOOD = typer.Option(False, "--accept-good", help="Write good rows though others are refused.")
PROPOSE = typer.Option(False, "--propose", help="Write the mapping instead, to fill in, from the table's header.")
ENCODING = typer.Option("", "--encoding", help="With --propose: encoding of the table, when it is not UTF-8.")
SEPARATOR = typer.Option("", "--separator", help="With --propose: its separator (; , | tab), when it is not clear.")


def import_table(
    table: Path = TABLE,
    mapping: Path = MAP,
    check: bool = CHECK,
    accept_good: bool = ACCEPT_GOOD,
    propose: bool = PROPOSE,
    encoding: str = ENCODING,
    separator: str = SEPARATOR,
    by: str = o.BY,
    force: bool = o.FORCE,
    book: str = o.BOOK,
    as_json: bool = JSON_OPTION,
) -> None:
    """Take a plant's table into the log book: every row, or none when one is refused.

    Rows that are in the book already are not written again. Exit code 0: all rows good; 2: some are refused, nothing
    was written; 1: some are refused, the good ones were written.

    Example: castq melt import melts.csv --map plant.toml --by "A. Melter" --check
    """
    if propose:
        _propose(table, mapping, encoding, separator, force, as_json)
    elif not _import(table, mapping, check, accept_good, by, book, as_json):
        raise typer.Exit(EXIT_VERDICT_NEGATIVE if accept_good and not check else EXIT_BAD_INPUT)


def _propose(table: Path, mapping: Path, encoding: str, separator: str, force: bool, as_json: bool) -> None:
    from castq.files.logbook.propose import propose_mapping
    from castq.report.melt_exports import document

    propose_mapping(table, mapping, encoding=encoding, separator=separator, force=force)
    o.tell(as_json, lambda: document("mapping", {"table": table, "mapping": mapping}),
           lambda: f"{mapping}: written; fill in what is empty, then: castq melt import {table} --map {mapping} "
           "--check")  # fmt: skip


def _import(
    table: Path, mapping: Path, check: bool, accept_good: bool, by: str, book: str, as_json: bool
) -> bool:  # fmt: skip
    """Import a table and say how it went; return whether every row is good."""
    from castq.files.logbook.import_rows import read_rows, write_rows
    from castq.files.logbook.mapping import read_mapping
    from castq.report.melt_log_text import import_text, import_to_dict

    who = by if check else o.needed(by, "--by", '"A. Melter"')
    read, name = read_rows(table, read_mapping(mapping)), ""
    writes = not check and (accept_good or not read.outcome.refused)
    if writes or "://" in book or Path(book).exists():
        from castq.files.melt_book import check_clock

        with o.opened(book, create=writes) as log:
            if writes:
                check_clock(log, o.clock_now())
            result = write_rows(log, read, entered_by=who, check=not writes, accept_good=accept_good)
            name = log.name if writes else ""
    else:
        # A table that will not be written makes no book; only rows that are twice in it can be found.
        result = write_rows(None, read, entered_by=who)
    o.tell(as_json, lambda: import_to_dict(result, name), lambda: import_text(result, name))
    return not result.refused


def add_commands(app: typer.Typer) -> None:
    """Add this module's command to the app."""
    app.command("import")(import_table)

"""The form of a book, made in numbered steps that only go forward; a step that has been released is never edited."""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import Connection, func, insert, inspect, select, text

from castq import __version__
from castq.core.clock import WallClock
from castq.files.logbook.chain import FIRST_HASH
from castq.files.logbook.entry import moment_us
from castq.files.logbook.errors import GO_BACK, storage_error
from castq.files.logbook.schema import HEAD, STEPS

# Any number no other program is likely to lock in the same database.
_ADVISORY = 0x6361737471
_NEVER = "rows of a log book are never changed or removed, enter a correction"

_TABLES = (
    "CREATE TABLE melt_steps (step {number} PRIMARY KEY, made_us {number} NOT NULL, castq TEXT NOT NULL)",
    """CREATE TABLE melt_entries (
        sequence {number} PRIMARY KEY, place {number} NOT NULL, kind TEXT NOT NULL, furnace TEXT NOT NULL,
        at_us {number} NOT NULL, at_offset_s {number} NOT NULL, payload TEXT NOT NULL, entered_by TEXT NOT NULL,
        entered_us {number} NOT NULL, entered_offset_s {number} NOT NULL, clock_back_s {number} NOT NULL,
        replaces {number} UNIQUE REFERENCES melt_entries (sequence), reason TEXT NOT NULL,
        previous_hash TEXT NOT NULL, row_hash TEXT NOT NULL,
        CHECK (replaces IS NULL OR replaces < sequence), CHECK (place <= sequence))""",
    "CREATE TABLE melt_head (rows {number} NOT NULL, row_hash TEXT NOT NULL)",
)
_SQLITE_GUARDS = (
    "CREATE TRIGGER melt_no_update BEFORE UPDATE ON melt_entries BEGIN SELECT RAISE(ABORT, '{never}'); END",
    "CREATE TRIGGER melt_no_delete BEFORE DELETE ON melt_entries BEGIN SELECT RAISE(ABORT, '{never}'); END",
    # Without it INSERT OR REPLACE would put a row in the place of another.
    """CREATE TRIGGER melt_only_append BEFORE INSERT ON melt_entries
        WHEN NEW.sequence <> (SELECT coalesce(max(sequence), 0) + 1 FROM melt_entries)
        BEGIN SELECT RAISE(ABORT, '{never}'); END""",
    "CREATE TRIGGER melt_head_stays BEFORE DELETE ON melt_head BEGIN SELECT RAISE(ABORT, '{never}'); END",
    """CREATE TRIGGER melt_head_forward BEFORE UPDATE ON melt_head WHEN NEW.rows <= OLD.rows
        BEGIN SELECT RAISE(ABORT, '{never}'); END""",
)
_POSTGRESQL_GUARDS = (
    """CREATE FUNCTION melt_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN RAISE EXCEPTION '{never}'; END $$""",
    """CREATE TRIGGER melt_no_change BEFORE UPDATE OR DELETE ON melt_entries
        FOR EACH ROW EXECUTE FUNCTION melt_refuse()""",
    """CREATE TRIGGER melt_no_truncate BEFORE TRUNCATE ON melt_entries
        FOR EACH STATEMENT EXECUTE FUNCTION melt_refuse()""",
    "CREATE TRIGGER melt_head_stays BEFORE DELETE ON melt_head FOR EACH ROW EXECUTE FUNCTION melt_refuse()",
    "CREATE TRIGGER melt_head_kept BEFORE TRUNCATE ON melt_head FOR EACH STATEMENT EXECUTE FUNCTION melt_refuse()",
    """CREATE TRIGGER melt_head_forward BEFORE UPDATE ON melt_head FOR EACH ROW
        WHEN (NEW.rows <= OLD.rows) EXECUTE FUNCTION melt_refuse()""",
)


def _make_tables(connection: Connection) -> None:
    sqlite = connection.dialect.name == "sqlite"
    # INTEGER is what makes SQLite keep the rows in their order; it holds 64 bits there.
    number = "INTEGER" if sqlite else "BIGINT"
    for statement in (*_TABLES, *(_SQLITE_GUARDS if sqlite else _POSTGRESQL_GUARDS)):
        connection.exec_driver_sql(statement.format(number=number, never=_NEVER))
    connection.execute(insert(HEAD).values(rows=0, row_hash=FIRST_HASH))


def _index(connection: Connection) -> None:
    # What is asked for at the furnace: the last entries, by furnace, by kind, of all, and those since some time.
    for name, columns in (("time", "kind, furnace, at_us"), ("furnace", "kind, furnace, place"),
                          ("kind", "kind, place"), ("place", "place")):  # fmt: skip
        connection.exec_driver_sql(f"CREATE INDEX melt_by_{name} ON melt_entries ({columns})")


STEPS_MADE: tuple[Callable[[Connection], None], ...] = (_make_tables, _index)
NEWEST = len(STEPS_MADE)


def form_of(connection: Connection, place: str) -> int:
    """Return the number of the last step a book has taken, 0 when there is no book.

    Parameters
    ----------
    connection : Connection
        To the book.
    place : str
        Its name, for the error.

    Raises
    ------
    StorageError
        If it was written by a newer castq.
    """
    if not inspect(connection).has_table(STEPS.name):
        return 0
    step = connection.execute(select(func.max(STEPS.c.step))).scalar_one()
    if not isinstance(step, int) or step < 1:
        raise storage_error(place, "is damaged: it does not say of which form it is", GO_BACK)
    if step > NEWEST:
        raise storage_error(place, f"was written by a newer castq (form {step}, this one knows {NEWEST})",
                            "bring castq up to date on this machine")  # fmt: skip
    return step


def bring_up(connection: Connection, place: str, clock: WallClock, to: int = NEWEST) -> None:
    """Take the steps that are missing, all or none; `connection` is in a transaction that may write.

    Parameters
    ----------
    connection : Connection
        To the book.
    place : str
        Its name, for the error.
    clock : callable
        Tells the time.
    to : int
        Last step to take [-].
    """
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _ADVISORY})
    # Asked again: another program may have been first.
    for step in range(form_of(connection, place) + 1, to + 1):
        STEPS_MADE[step - 1](connection)
        made_us, _ = moment_us(clock(), "clock of this machine")
        connection.execute(insert(STEPS).values(step=step, made_us=made_us, castq=__version__))

"""Which rows are asked for."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import Select, select

from castq.files.logbook.entry import WITHDRAWN, moment_us
from castq.files.logbook.schema import ENTRIES


def rows_asked(
    columns: tuple[str, ...],
    *,
    kind: str | None,
    furnace: str | None,
    since: datetime | None,
    until: datetime | None,
    current: bool,
) -> Select[Any]:
    """Return the query for rows, in the order of the book.

    Parameters
    ----------
    columns : tuple of str
        Names of the columns.
    kind, furnace : str, optional
        Only these.
    since, until : datetime, optional
        Only what happened from `since` on and before `until`.
    current : bool
        True to leave out what was corrected or withdrawn; a correction then stands in the place of what it corrects.
    """
    query = select(*(ENTRIES.c[name] for name in columns))
    if kind is not None:
        query = query.where(ENTRIES.c.kind == kind)
    if furnace is not None:
        query = query.where(ENTRIES.c.furnace == furnace)
    if since is not None:
        query = query.where(ENTRIES.c.at_us >= moment_us(since, "since")[0])
    if until is not None:
        query = query.where(ENTRIES.c.at_us < moment_us(until, "until")[0])
    if not current:
        return query.order_by(ENTRIES.c.sequence)
    replaced = select(ENTRIES.c.replaces).where(ENTRIES.c.replaces.is_not(None))
    return query.where(ENTRIES.c.sequence.not_in(replaced), ENTRIES.c.kind != WITHDRAWN).order_by(ENTRIES.c.place)

"""The tables of a log book as this version of castq uses them; `migrate` makes them."""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, MetaData, Table, Text

from castq.files.logbook.chain import HASHED

_METADATA = MetaData()
_NUMBERS = {"sequence", "place", "at_us", "at_offset_s", "entered_us", "entered_offset_s", "clock_back_s", "replaces"}


def _column(name: str) -> Column[int] | Column[str]:
    return Column(name, BigInteger) if name in _NUMBERS else Column(name, Text)


# Rows are only ever added; times are microseconds since 1970 in UTC, with the offset they were given with.
ENTRIES = Table("melt_entries", _METADATA, *(_column(name) for name in (*HASHED, "previous_hash", "row_hash")))
# One row: the end of the chain. Locked by whoever writes, so that the chain stays single.
HEAD = Table("melt_head", _METADATA, Column("rows", BigInteger), Column("row_hash", Text))
# One row for each step of the form of the book.
STEPS = Table("melt_steps", _METADATA, Column("step", BigInteger), Column("made_us", BigInteger), Column("castq", Text))

"""A mapping to fill in: names the columns of a table and asks for units, marks and zone; it guesses none of them."""

from __future__ import annotations

import json
from pathlib import Path

from castq.core.errors import plain
from castq.files.atomic import write_text
from castq.files.csvrows import rows_of_text
from castq.files.logbook.fields import FIELDS, Field
from castq.files.logbook.mapping import ENCODINGS, ORDERS, SEPARATORS
from castq.files.logbook.plant_table import MOST_BYTES, MOST_WORKBOOK_ROWS, check_kind, decoded
from castq.files.source import Source, read_source
from castq.files.workbook import Why, workbook_rows

_HEAD = """\
# How castq is to read {name}. Fill in every empty "": castq guesses none of them.
# Remove the fields and kinds that the table does not hold. A field is {{ column = "..." }}, or {{ constant = "..." }}.
# Columns of the table:
{columns}

[file]{file}
decimal = ""                 # comma or point
blank = []                   # what stands in a cell without a value, such as "-"

[time]
column = ""                  # or ["date column", "time column"], with two formats
format = ""                  # such as %d.%m.%Y %H:%M
zone = ""                    # of the plant's clock, such as Etc/GMT-1 (one hour ahead of UTC all year)
fold = "refuse"              # when the clock is put back: refuse, first or second
order = ""                   # {orders}

# Either every row is of one kind: constant = "sample"; or a column says it, with the plant's words for it.
[kind]
column = ""
values = {{ "" = "sample" }}   # {kinds}
"""


def propose_mapping(table: Path, out: Path, *, encoding: str = "", separator: str = "", force: bool = False) -> None:
    """Write a mapping to fill in, made from the header of a table.

    Parameters
    ----------
    table : Path
        CSV or XLSX.
    out : Path
        The mapping (.toml).
    encoding : str
        Of a CSV; may be empty when it is UTF-8.
    separator : str
        Of a CSV, one of `SEPARATORS`; may be empty when the header holds only one that it can be.
    force : bool
        True to replace a mapping that is there.

    Raises
    ------
    InputError
        If the table cannot be read, or its separator is not clear.
    """
    source = read_source(table, MOST_BYTES)
    if check_kind(source) == ".xlsx":
        header = workbook_rows(source, None, MOST_WORKBOOK_ROWS, _as_it_is, "melts")[0].cells
        stated = '\nsheet = ""                   # name of the sheet; remove it when there is one'
    else:
        header, separator = _header(source, encoding, separator)
        stated = f'\nencoding = "{encoding}"                # {", ".join(ENCODINGS[:5])}, ...'
        stated += f'\nseparator = "{separator}"              # as the header shows it'
    columns = [json.dumps(plain(cell, 100), ensure_ascii=False) for cell in header if cell.strip()]
    text = _HEAD.format(
        name=plain(source.name), file=stated, orders=", ".join(ORDERS), kinds=", ".join(FIELDS),
        columns="\n".join(f"#   {name}" for name in columns),
    )  # fmt: skip
    write_text(out, text + "".join(_part(kind) for kind in FIELDS), force=force)


def _header(source: Source, encoding: str, separator: str) -> tuple[tuple[str, ...], str]:
    """Return the header of a CSV and the name of the separator it is cut by."""
    text = decoded(source, encoding or ("utf-8-sig" if source.data.startswith(b"\xef\xbb\xbf") else "utf-8"))
    lines = (line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#"))
    line = next(lines, "")
    found = [separator] if separator else [name for name, mark in SEPARATORS.items() if mark in line]
    if len(found) != 1:
        what = f"the header holds {' and '.join(found)}" if found else "the header holds no separator"
        raise source.error("header", what, "one separator", f"state it: {', '.join(SEPARATORS)}")
    if found[0] not in SEPARATORS:
        raise source.error("separator", f"'{plain(found[0], 20)}' is none", "", f"use one of: {', '.join(SEPARATORS)}")
    rows, _ = rows_of_text(source, line, SEPARATORS[found[0]])
    if not rows:
        raise source.error("", "has no rows", "a header and rows", "export the table again")
    return rows[0].cells, found[0]


def _as_it_is(shown: object, _: object) -> tuple[str, Why | None]:
    value = getattr(shown, "value", None)
    return ("" if value is None else str(value)), None


def _part(kind: str) -> str:
    lines = [_line(name, field) for name, field in FIELDS[kind].items()]
    return "\n".join(["", f"[{kind}]", *lines, ""])


def _line(name: str, field: Field) -> str:
    parts = ['column = ""']
    if field.units:
        parts.append('unit = ""')
    if field.choices:
        parts.append("values = { " + ", ".join(f'"" = "{choice}"' for choice in field.choices[:1]) + " }")
    asked = "; " + ", ".join(field.units or field.choices) if field.units or field.choices else ""
    needed = " (needed)" if field.needed else ""
    return f"{name} = {{ {', '.join(parts)} }}   # {field.words}{needed}{asked}"

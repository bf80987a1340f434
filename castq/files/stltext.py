"""ASCII STL: a vectorised reader for files as programs write them, and a word-by-word one that names each fault."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import plain
from castq.files.parts import Part, soup
from castq.files.source import Source

_CHUNK = 16_000_000
_SOLID = re.compile(rb"[ \t]*(end[ \t]*)?solid(?![a-z])([^\r\n]*)", re.IGNORECASE)
# No other keyword holds an s, so this search runs through the facets at full speed.
_SOLID_WORD = re.compile(rb"[sS](?:olid|OLID)")
_END = re.compile(rb"endfacet", re.IGNORECASE)
_NUMBER = re.compile(rb"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", re.IGNORECASE)
_COMMA = re.compile(rb"[+-]?\d+,\d+(e[+-]?\d+)?", re.IGNORECASE)
_FACET = (
    b"facet",
    b"normal",
    None,
    None,
    None,
    b"outer",
    b"loop",
    *(b"vertex", None, None, None) * 3,
    b"endloop",
    b"endfacet",
)
# Each keyword becomes a number that no coordinate is, so that one look at the columns proves the order of the words.
_MARKS = ((b"outer loop", b" -inf "), (b"endloop", b" -inf "), (b"endfacet", b" inf "), (b"vertex", b" nan "))
_NORMAL = re.compile(rb"facet[ \t]+normal[^\r\n]*")


def read_ascii(source: Source, text: bytes, max_facets: int) -> tuple[tuple[Part, ...], tuple[str, ...]]:
    """Return the solids of an ASCII STL text and warnings.

    Parameters
    ----------
    source : Source
        The file, for messages.
    text : bytes
        Its text in a one-byte encoding.
    max_facets : int
        Largest number of facets accepted [-].

    Raises
    ------
    InputError
        If the text is not exactly solid, facet, outer loop, three vertices, endloop, endfacet, endsolid.
    """
    text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    facets = text.count(b"endfacet") + text.count(b"ENDFACET")
    if facets > max_facets:
        raise source.error(
            "", f"has {facets:,} facets", f"at most {max_facets:,} facets", "export with a coarser tolerance"
        )
    heads = list(_heads(text))
    if not heads or heads[0].group(1) or text[: heads[0].start()].strip():
        first = plain(text[:200].strip()[:40].split(b"\n")[0].decode("latin-1"))
        raise source.error("line 1", f"'{first}' where 'solid NAME' belongs", "an STL file", "export the file again")
    parts, ignored = [], 0
    for head, stop in zip(heads, [*(m.start() for m in heads[1:]), len(text)], strict=True):
        if head.group(1):
            ignored += len(text[head.end() : stop].strip(b"\0 \t\n"))
            continue
        pieces = [_facets(source, text, *span) for span in _chunks(text, head.end(), stop)]
        if sum(map(len, pieces)):
            parts.append(soup(plain(head.group(2).decode("latin-1"), 60), np.concatenate(pieces)))
    if not parts:
        raise source.error("", "has no facets", "at least 4 facets", "export the file again")
    warnings = [f"{ignored:,} bytes after 'endsolid' ignored"] if ignored else []
    if not heads[-1].group(1):
        warnings.append("no 'endsolid' at the end: the file may be cut; all its facets are complete and were read")
    return tuple(parts), tuple(warnings)


def _heads(text: bytes) -> Iterator[re.Match[bytes]]:
    """Find the lines that open or close a solid."""
    behind = 0
    for word in _SOLID_WORD.finditer(text):
        head = _SOLID.match(text, text.rfind(b"\n", 0, word.start()) + 1)
        if head and word.start() >= behind:
            behind = head.end()
            yield head


def _chunks(text: bytes, start: int, stop: int) -> Iterator[tuple[int, int]]:
    """Cut a span into pieces that end behind an `endfacet`, to bound the memory used."""
    while start < stop:
        end = _END.search(text, min(start + _CHUNK, stop), stop)
        yield start, end.end() if end else stop
        start = end.end() if end else stop


def _facets(source: Source, text: bytes, start: int, stop: int) -> NDArray[np.float64]:
    """Return the triangles in a span of the text, array (n, 3, 3) [unit of the file]."""
    body = _NORMAL.sub(b" inf ", text[start:stop].lower())
    for word, mark in _MARKS:
        body = body.replace(word, mark)
    try:
        numbers = np.fromstring(body, sep=" ") if body.strip() else np.empty(0)
    except ValueError:
        numbers = np.full(1, np.nan)
    if len(numbers) % 16 == 0:
        table = numbers.reshape(-1, 16)
        corners = table[:, [3, 4, 5, 7, 8, 9, 11, 12, 13]]
        words = table[:, [0, 1, 14, 15]] == (np.inf, -np.inf, -np.inf, np.inf)
        if words.all() and np.isnan(table[:, [2, 6, 10]]).all() and np.isfinite(corners).all():
            return corners.reshape(-1, 3, 3)
    return _word_by_word(source, text, start, stop)


def _word_by_word(source: Source, text: bytes, start: int, stop: int) -> NDArray[np.float64]:
    """Read the same grammar slowly: accepts any layout of it and names the line of the first fault."""
    values: list[float] = []
    place = count = 0
    for line, word in _words(text, start, stop):
        count += 1
        wanted = _FACET[place]
        if wanted is None:
            value = _number(source, line, word, keep=place > 6)
            if place > 6:
                values.append(value)
        elif word.lower() != wanted:
            raise _unexpected(source, line, word, place)
        place = (place + 1) % len(_FACET)
    if place:
        last = _line(text, len(text[:stop].rstrip()))
        raise source.error(
            f"line {last}",
            f"the text ends inside facet {count // len(_FACET) + 1}",
            "a complete facet",
            "the file is cut short; copy or export it again",
        )
    return np.array(values).reshape(-1, 3, 3)


def _words(text: bytes, start: int, stop: int) -> Iterator[tuple[int, bytes]]:
    line = _line(text, start)
    for row in text[start:stop].split(b"\n"):
        for word in row.split():
            yield line, word
        line += 1


def _line(text: bytes, position: int) -> int:
    return 1 + text.count(b"\n", 0, position)


def _number(source: Source, line: int, word: bytes, keep: bool) -> float:
    """Return the number in a word; the words of a normal are not looked at, programs write anything there."""
    if not keep:
        return 0.0
    if _NUMBER.fullmatch(word):
        return float(word)
    found, mend = f"'{plain(word.decode('latin-1'), 40)}' is not a number", "export the file again"
    if _COMMA.fullmatch(word):
        found = f"decimal comma in '{plain(word.decode('latin-1'), 40)}'"
        mend = "export with a decimal point, or set the language of the program to English"
    elif word.lower().lstrip(b"+-")[:3] in (b"nan", b"inf"):
        found = f"coordinate is {plain(word.decode('latin-1'), 20)}, not a number"
        mend = "repair the model and export again"
    elif word.lower() in (w for w in _FACET if w):
        found = f"fewer than 3 numbers before '{plain(word.decode('latin-1'))}'"
    raise source.error(f"line {line}", found, "3 finite numbers with a decimal point", mend)


def _unexpected(source: Source, line: int, word: bytes, place: int) -> Exception:
    wanted = (_FACET[place] or b"").decode()
    shown = plain(word.decode("latin-1"), 40)
    if wanted == "endloop" and word.lower() == b"vertex":
        return source.error(
            f"line {line}", "a loop with more than 3 vertices", "triangles", "export triangles, not polygons"
        )
    if wanted == "vertex" and word.lower() == b"endloop":
        return source.error(f"line {line}", "a loop with fewer than 3 vertices", "triangles", "export the file again")
    if _NUMBER.fullmatch(word) or _COMMA.fullmatch(word):
        return source.error(f"line {line}", f"more than 3 numbers: '{shown}'", f"'{wanted}'", "export the file again")
    return source.error(f"line {line}", f"'{shown}' where '{wanted}' belongs", f"'{wanted}'", "export the file again")

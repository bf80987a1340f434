"""Geometry files, right and wrong ones, each with what must come out."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import manifold3d
import numpy as np

from tests.files import mesh_files as mf

BOX = mf.box()
VOLUME = 8e6
WHEEL = mf.wheel()
SKIN = mf.triangles(WHEEL)
SKIN_VOLUME = WHEEL.volume()
Content = bytes | str | Callable[[], bytes | str]


@dataclass(frozen=True)
class Row:
    """One file: what is in it, and what must come out."""

    number: int
    name: str
    content: Content
    words: tuple[str, ...] = ()
    volume: float = 0.0
    warnings: tuple[str, ...] = ()
    options: dict[str, Any] = field(default_factory=dict)
    file: str = "part.stl"
    rel: float = 1e-6


def bad(number: int, name: str, content: Content, *words: str, file: str = "part.stl", **options: Any) -> Row:
    return Row(number, name, content, words, options=options, file=file)


def good(
    number: int, name: str, content: Content, *warnings: str, volume: float = VOLUME, file: str = "part.stl",
    rel: float = 1e-6, **options: Any
) -> Row:  # fmt: skip
    return Row(number, name, content, volume=volume, warnings=warnings, options=options, file=file, rel=rel)


def changed(index: tuple[int, ...], value: float) -> bytes:
    shape = BOX.astype(np.float32).copy()
    with np.errstate(invalid="ignore"):
        shape[index] = value
    return mf.binary_stl(shape)


def some_flipped(*facets: int) -> mf.Triangles:
    shape = BOX.copy()
    shape[list(facets)] = shape[list(facets), ::-1]
    return shape


def flattened(height: float) -> mf.Triangles:
    return BOX * [1.0, 1.0, height]


def ascii_lines(old: str, new: str, count: int = 1, shape: mf.Triangles = BOX) -> str:
    text = mf.ascii_stl(shape)
    assert old in text
    return text.replace(old, new, count)


def swapped(text: str, old: str, new: str) -> str:
    result, count = re.subn(old, new, text, count=1)
    assert count == 1
    return result


def jittered(um: float) -> bytes:
    skin = mf.triangles(mf.wheel(96, 12.0))
    return mf.binary_stl(skin + np.random.default_rng(7).uniform(-um, um, skin.shape) * 1e-3)


def holed(count: int) -> bytes:
    skin = mf.triangles(mf.wheel(96, 12.0))
    return mf.binary_stl(np.delete(skin, np.random.default_rng(5).choice(len(skin), count, replace=False), axis=0))


SHEET = np.array([[[0, 0, 0], [400, 0, 0], [400, 200, 0]], [[0, 0, 0], [400, 200, 0], [0, 200, 0]]], dtype=float)
NEEDLE = np.array([[[0, 0, 0], [400, 0, 0], [400, 0, 0]]], dtype=float)
OVERLAP = np.concatenate([BOX, np.add(BOX, [100.0, 75.0, 25.0])])
BLOCK = mf.box(800.0, 700.0, 400.0) - [400.0, 350.0, 200.0]
CAVITY = mf.triangles(manifold3d.Manifold.cylinder(240.0, 240.0, center=True))
MOULD = np.concatenate([BLOCK, CAVITY[:, ::-1]])
TWO = np.concatenate([BOX, np.add(0.5 * BOX, [600.0, 0.0, 0.0])])
# The box with its top cut into a different grid than its sides, and the box as six patches of different grids.
TOP = BOX[(BOX[:, :, 2] == 100.0).all(axis=1)]
REST = BOX[~(BOX[:, :, 2] == 100.0).all(axis=1)]


def finer(facets: mf.Triangles, times: int) -> mf.Triangles:
    for _ in range(times):
        a, b, c = facets[:, 0], facets[:, 1], facets[:, 2]
        ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
        facets = np.concatenate([np.stack(f, axis=1) for f in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))])
    return facets


SEAM = np.concatenate([finer(TOP, 3), REST])
SIDES = [
    BOX[(BOX[:, :, axis] == value).all(axis=1)] for axis in range(3) for value in (0.0, (400.0, 200.0, 100.0)[axis])
]
SEAMS = np.concatenate([finer(side, n) for n, side in enumerate(SIDES)])
# Four blocks with two on top that touch along one edge only.
PINCHED = [(0, 0, 0), (0, 1, 0), (1, 0, 0), (1, 1, 0), (0, 0, 1), (1, 1, 1)]
# A cavity (half the box, facing inward) and a solid of the same shape inside the box.
HOLLOW = np.concatenate([BOX, 0.5 * BOX[:, ::-1] + [40.0, 40.0, 20.0]])
NESTED = np.concatenate([BOX, np.add(0.5 * BOX, [40.0, 40.0, 20.0])])
PATCHES = mf.ascii_stl(BOX[:5], name="one") + mf.ascii_stl(BOX[5:], name="two")
NAMED = mf.ascii_stl(SKIN, name="wheel") + mf.ascii_stl(MOULD, name="mould")
TEXT = mf.ascii_stl(BOX)
BINARY = mf.binary_stl(BOX)

OPEN = [
    bad(1, f"facet-{index}-missing", mf.binary_stl(np.delete(BOX, index, axis=0)), "not watertight", "3 open edges",
        "first near (", "close the shell in CAD")
    for index in range(12)
] + [
    bad(1, "ascii", mf.ascii_stl(BOX[:-1]), "not watertight", "3 open edges"),
    bad(1, "side-missing", mf.binary_stl(BOX[2:]), "not watertight", "open edges"),
    bad(1, "one-facet", mf.binary_stl(BOX[:1]), "no thickness"),
    bad(1, "fifth-missing", lambda: holed(1500), "not watertight", "open edges", "% of the surface"),
    good(1, "few-missing", lambda: holed(9), "not watertight: 27 open edges", "volume is approximate",
         volume=SKIN_VOLUME, rel=1e-3),
]  # fmt: skip
OPEN += [
    good(1, "one-seam", mf.binary_stl(SEAM), "not watertight: 36 open edges", "0 % of the surface"),
    good(1, "six-patches-of-different-grids", mf.binary_stl(SEAMS), "not watertight", "0 % of the surface"),
    bad(1, "seam-and-hole", mf.binary_stl(SEAM[:-1]), "not watertight"),
]
WINDING = [
    good(2, "binary", mf.binary_stl(BOX[:, ::-1]), "inverted"),
    good(2, "ascii", mf.ascii_stl(BOX[:, ::-1]), "inverted"),
    good(2, "wheel", mf.binary_stl(SKIN[:, ::-1]), "inverted", volume=SKIN_VOLUME),
    good(
        2,
        "one-of-two",
        mf.binary_stl(np.concatenate([BOX, 0.9 * BOX[:, ::-1] + [600.0, 0, 0]])),
        "inverted",
        volume=VOLUME * 0.9**3,
        body="2",
    ),
    bad(3, "half", mf.binary_stl(some_flipped(*range(6))), "mixed winding", "first near ("),
    bad(3, "one-facet", mf.binary_stl(some_flipped(4)), "mixed winding: at 3 edges", "normals point outward"),
    bad(3, "ascii", mf.ascii_stl(some_flipped(1, 8)), "mixed winding"),
]
UNITS = [
    good(4, "inch", mf.binary_stl(BOX / 25.4)),
    good(4, "inch-wheel", mf.binary_stl(SKIN / 25.4), volume=SKIN_VOLUME),
    good(5, "metre", mf.binary_stl(BOX / 1000.0)),
    good(6, "centimetre", mf.binary_stl(BOX / 10.0)),
    good(6, "lower-edge", mf.binary_stl(BOX * (330.5 / 400.0)), volume=VOLUME * (330.5 / 400.0) ** 3),
    good(6, "upper-edge", mf.binary_stl(BOX * (719.5 / 400.0)), volume=VOLUME * (719.5 / 400.0) ** 3),
    bad(6, "too-large", mf.binary_stl(BOX * 2.0), "largest side is 800", "size of a wheel in no unit", "--units"),
    bad(6, "too-small", mf.binary_stl(BOX / 5.0), "largest side is 80", "330 to 720 in mm", "--units"),
    bad(6, "feet", mf.binary_stl(BOX / 304.8), "largest side is 1.312", "--units"),
    bad(6, "unknown-unit", BINARY, "--units", "'inches'", "did you mean inch?", units="inches"),
    good(
        6,
        "asked-wrongly",
        mf.binary_stl(BOX / 10.0),
        "not the size of a wheel: largest side 40 mm",
        volume=VOLUME / 1000.0,
        units="mm",
    ),
    good(6, "asked-and-odd", mf.binary_stl(BOX * 2.0), "not the size of a wheel", volume=VOLUME * 8.0, units="mm"),
]
SHAPES = [
    good(
        7,
        "binary",
        mf.binary_stl(OVERLAP),
        "2 overlapping bodies united: volume 1.6e+07 became 1.31875e+07",
        volume=105_500 * 125,
    ),
    good(7, "ascii", mf.ascii_stl(OVERLAP), "overlapping bodies united", volume=105_500 * 125),
    good(
        7,
        "two-solids",
        mf.ascii_stl(BOX, name="a") + mf.ascii_stl(np.add(BOX, [100, 75, 25]), name="b"),
        "united",
        volume=105_500 * 125,
    ),
    good(7, "one-inside-the-other", mf.binary_stl(NESTED), "overlapping bodies united"),
    good(7, "touching-itself-along-an-edge", mf.binary_stl(mf.blocks(PINCHED, 200.0)), volume=6 * 200.0**3),
    bad(7, "two-touching-along-an-edge", mf.binary_stl(mf.blocks([(0, 0, 0), (1, 1, 0)], 200.0)), "2 separate bodies"),
    bad(7, "all-dust", mf.binary_stl(np.concatenate([0.01 * BOX + 5.0 * n for n in range(90)])), "90 separate bodies"),
    good(7, "cavity", mf.binary_stl(HOLLOW), "a closed cavity of 1e+06", volume=VOLUME * 7.0 / 8.0),
    bad(8, "plane", mf.binary_stl(SHEET), "no thickness", "thicken"),
    bad(8, "ascii", mf.ascii_stl(SHEET), "no thickness"),
    bad(8, "both-faces", mf.binary_stl(np.concatenate([SHEET, SHEET[:, ::-1]])), "no thickness"),
    bad(9, "flat", mf.binary_stl(flattened(0.0)), "no thickness"),
    bad(9, "nearly-flat", mf.binary_stl(flattened(1e-6)), "no thickness"),
    bad(9, "flat-wheel", mf.binary_stl(SKIN * [1.0, 1.0, 0.0]), "no thickness"),
    good(10, "two-corners-alike", mf.binary_stl(np.concatenate([BOX, NEEDLE])), "1 facets of zero area dropped"),
    good(10, "a-point", mf.binary_stl(np.concatenate([BOX, np.zeros((3, 3, 3))])), "3 facets of zero area dropped"),
    good(10, "ascii", mf.ascii_stl(np.concatenate([NEEDLE, BOX])), "1 facets of zero area dropped"),
    bad(10, "nothing-else", mf.binary_stl(np.concatenate([NEEDLE, NEEDLE])), "zero area"),
    good(11, "all", mf.binary_stl(np.concatenate([BOX, BOX])), "12 facets were there twice; merged"),
    good(11, "three", mf.binary_stl(np.concatenate([BOX, BOX[:3]])), "3 facets were there twice"),
    good(11, "turned-corners", mf.binary_stl(np.concatenate([BOX, np.roll(BOX, 1, axis=1)])), "12 facets were there"),
    good(11, "ascii", mf.ascii_stl(np.concatenate([BOX, BOX])), "12 facets were there twice"),
    good(11, "jitter-2-um", lambda: jittered(2.0), "open edges with gaps below 0.009", volume=SKIN_VOLUME, rel=1e-5),
    bad(11, "jitter-200-um", lambda: jittered(200.0), "not watertight"),
]
NUMBERS = [
    bad(12, "nan", changed((6, 1, 2), np.nan), "facet 7", "nan, not a number"),
    bad(12, "last", changed((11, 2, 2), np.nan), "facet 12", "not a number"),
    bad(13, "inf", changed((0, 0, 0), np.inf), "facet 1", "inf, not a number"),
    bad(13, "minus-inf", changed((3, 0, 1), -np.inf), "facet 4", "-inf"),
    bad(14, "nan", ascii_lines("vertex 0 0 100", "vertex 0 nan 100"), "line ", "coordinate is nan"),
    bad(14, "inf", ascii_lines("vertex 0 0 100", "vertex 0 0 -Infinity"), "line ", "coordinate is -Infinity"),
    bad(14, "overflow", ascii_lines("vertex 0 0 100", "vertex 0 0 1e999"), "facet ", "inf, not a number"),
    bad(15, "one", changed((2, 1, 1), 1e30), "facet 3", "1e+30 is out of range"),
    bad(15, "all", mf.binary_stl(BOX * 1e28), "out of range"),
    bad(15, "ascii", ascii_lines("vertex 0 0 100", "vertex 0 0 1e30"), "1e+30 is out of range"),
    bad(16, "binary", mf.binary_stl(BOX * 1e-22), "the whole model is 4e-20 long", "scale of the export"),
    bad(16, "ascii", mf.ascii_stl(BOX * 1e-22), "the whole model is", "scale"),
    bad(16, "one-point", mf.binary_stl(np.zeros((4, 3, 3))), "the whole model is 0 long"),
]
LENGTHS = [
    bad(
        17,
        "four-billion",
        mf.binary_stl(BOX, count=4_000_000_000),
        "says 4,000,000,000 facets, the file has 12",
        "bytes missing",
    ),
    bad(17, "largest", mf.binary_stl(BOX, count=2**32 - 1), "says 4,294,967,295 facets"),
    bad(17, "solid-header", mf.binary_stl(BOX, header=b"solid x", count=4_000_000_000), "4,000,000,000 facets"),
    bad(18, "three-of-twelve", mf.binary_stl(BOX, count=3), "says 3 facets, the file has 12"),
    bad(18, "eleven-of-twelve", mf.binary_stl(BOX, count=11), "says 11 facets, the file has 12"),
    bad(19, "count-zero", mf.binary_stl(BOX, count=0), "says 0 facets", "600 bytes follow"),
    bad(19, "no-facets", mf.binary_stl(BOX[:0]), "says 0 facets", "0 bytes follow"),
    bad(19, "ascii", "solid a\nendsolid a\n", "has no facets"),
    bad(19, "only-solid", "solid", "has no facets"),
    bad(20, "mid-facet", BINARY[:-21], "says 12 facets, the file has 11: 21 bytes missing", "cut short"),
    bad(20, "one-byte", BINARY[:-1], "1 bytes missing"),
    bad(20, "half", BINARY[: 84 + 300], "says 12 facets, the file has 6: 300 bytes missing"),
    bad(20, "solid-header", mf.binary_stl(BOX, header=b"solid ascii-like")[:-21], "21 bytes missing"),
    bad(20, "ascii-mid-facet", TEXT[: TEXT.rindex("vertex")], "the text ends inside facet 12", "line "),
    bad(20, "ascii-mid-number", TEXT[: TEXT.index("endloop")], "the text ends inside facet 1;", "line 6"),
    good(21, "zeros", BINARY + bytes(100), "100 bytes after the last facet ignored"),
    good(21, "text", BINARY + b"made by a program\n", "18 bytes after the last facet ignored"),
    good(21, "noise", BINARY + np.random.default_rng(3).bytes(777), "777 bytes after the last facet ignored"),
    good(21, "ascii", TEXT + "made by a program\n", "17 bytes after 'endsolid' ignored"),
    bad(34, "over-the-cap", mf.binary_stl(SKIN), "1,728 facets", "at most 1,000", "coarser", max_facets=1000),
    bad(34, "ascii-over-the-cap", mf.ascii_stl(BOX), "has 12 facets", "at most 11", max_facets=11),
    bad(34, "file-size", BINARY, "684 bytes", "at most 400 bytes", max_facets=1),
]
TEXTS = [
    good(22, "solid", mf.binary_stl(BOX, header=b"solid part")),
    good(22, "solid-and-facet", mf.binary_stl(BOX, header=b"solid part\nfacet normal 0 0 1")),
    bad(23, "one", ascii_lines("vertex 400 0 0", "vertex 400,0 0 0"), "line ", "decimal comma in '400,0'",
        "decimal point"),
    bad(23, "all", re.sub(r"(\d) ", r"\g<1>,5 ", TEXT), "line 4", "decimal comma"),
    bad(23, "exponent", ascii_lines("vertex 400 0 0", "vertex 4,0E+02 0 0"), "decimal comma in '4,0E+02'"),
    good(24, "no-endsolid", mf.ascii_stl(BOX, end=False), "no 'endsolid'"),
    good(24, "no-endsolid-no-newline", mf.ascii_stl(BOX, end=False).rstrip(), "no 'endsolid'"),
    bad(24, "cut-between-facets", TEXT[: TEXT.rindex("  facet")], "not watertight"),
    good(25, "little", TEXT.encode("utf-16-le").join([b"\xff\xfe", b""]), "utf-16"),
    good(25, "big", b"\xfe\xff" + TEXT.encode("utf-16-be"), "utf-16"),
    good(25, "no-mark", TEXT.encode("utf-16-le"), "utf-16-le"),
    bad(25, "cut", b"\xff\xfe" + TEXT.encode("utf-16-le")[:-1], "damaged utf-16"),
    good(26, "mark", b"\xef\xbb\xbf" + TEXT.encode()),
    good(26, "crlf", TEXT.replace("\n", "\r\n")),
    good(26, "cr", TEXT.replace("\n", "\r")),
    good(26, "capitals", TEXT.upper()),
    good(26, "tabs-and-blank-lines", TEXT.replace(" ", "\t").replace("\n", "\n\n").replace("\tpart", " part")),
    good(26, "words-on-own-lines", "solid part\n" + "\n".join(TEXT.split("\n", 1)[1].split()[:-2]) + "\nendsolid\n"),
    good(26, "nan-normals", TEXT.replace("normal 0 0 1", "normal -nan(ind) nan 1.#QNAN")),
    bad(27, "two-numbers", ascii_lines("vertex 400 0 0", "vertex 400 0"), "line ", "fewer than 3 numbers"),
    bad(27, "four-numbers", ascii_lines("vertex 400 0 0", "vertex 400 0 0 0"), "line ", "more than 3 numbers: '0'"),
    bad(27, "two-and-four", ascii_lines("vertex 400 0 0", "vertex 400 0").replace("vertex 0 0 0", "vertex 0 0 0 0", 1),
        "line ", "numbers"),
    bad(28, "solid-and-name-in-one", TEXT.replace("solid part", "solidpart"), "'solidpart' where 'solid NAME' belongs"),
    good(26, "blank-lines-first", "\n \n" + TEXT),
    bad(28, "word", ascii_lines("vertex 400 0 0", "vertex 400 zero 0"), "line ", "'zero' is not a number"),
    bad(28, "underscore", ascii_lines("vertex 400 0 0", "vertex 4_00 0 0"), "'4_00' is not a number"),
    bad(28, "hexadecimal", ascii_lines("vertex 400 0 0", "vertex 0x10 0 0"), "'0x10' is not a number"),
    bad(28, "keyword", ascii_lines("outer loop", "outer lop"), "line 3", "'lop' where 'loop' belongs"),
    bad(28, "facet-in-facet", ascii_lines("  endfacet\n", ""), "'facet' where 'endfacet' belongs"),
    bad(29, "four", ascii_lines("    endloop", "      vertex 1 2 3\n    endloop"), "line 7", "more than 3 vertices",
        "export triangles"),
    bad(29, "two", TEXT.replace(TEXT.split("\n")[3] + "\n", "", 1), "fewer than 3 vertices"),
]  # fmt: skip
IMPOSTORS = [
    bad(30, "doctype", "<!DOCTYPE html><html><body>Sign in</body></html>" * 9, "is HTML"),
    bad(30, "html", "\n\n  <HTML><head></head></HTML>" + " " * 200, "is HTML"),
    bad(30, "head-first", "<head><title>x</title></head><html></html>", "is HTML"),
    bad(31, "step", mf.step(BOX), "is STEP", "right ending"),
    bad(31, "zip", mf.threemf(BOX), "is ZIP"),
    bad(31, "ply", mf.ascii_ply(BOX), "is PLY"),
    bad(31, "pdf", b"%PDF-1.7\n" + bytes(300), "is PDF"),
    bad(31, "gzip", b"\x1f\x8b\x08\x00" + bytes(300), "is gzip"),
    bad(31, "obj-text", mf.obj(BOX), "text that does not start with 'solid'", "line 1"),
    bad(31, "stl-as-obj", BINARY, "is not OBJ", "binary", file="part.obj"),
    bad(31, "stl-as-ply", TEXT, "is not PLY: its content is STL", file="part.ply"),
    bad(31, "stl-as-3mf", TEXT, "is not 3MF: its content is STL", file="part.3mf"),
    bad(31, "stl-as-step", TEXT, "is not STEP: its content is STL", file="part.step"),
    bad(31, "unknown-ending", BINARY, "ending '.dwg'", ".stl", file="part.dwg"),
    bad(32, "noise", np.random.default_rng(1).bytes(1000), "bytes missing", "is not STL"),
    bad(32, "solid-and-noise", b"solid" + np.random.default_rng(2).bytes(1000), "bytes missing"),
    bad(33, "empty", b"", "is empty (0 bytes)"),
    bad(33, "79-bytes", bytes(79), "79 bytes", "5 bytes fewer than the head"),
    bad(33, "84-bytes", bytes(84), "says 0 facets"),
]  # fmt: skip
BODIES = [
    good(35, "script", mf.ascii_stl(BOX, name="<script>alert(1)</script>")),
    bad(35, "script-in-list", mf.ascii_stl(BOX, name="<script>\x1b[31m") + mf.ascii_stl(BOX + 900.0, name="b"),
        '"<script> [31m" 400 x 200 x 100'),
    bad(37, "wheel-and-mould", mf.binary_stl(np.concatenate([SKIN, MOULD])), "2 separate bodies",
        "1: 800 x 700 x 400, 2: 450 x 450 x 200", "--body"),
    good(37, "the-wheel", mf.binary_stl(np.concatenate([SKIN, MOULD])), "a closed cavity", volume=SKIN_VOLUME,
         body="2"),
    bad(37, "named", NAMED, '1: "mould" 800 x 700 x 400, 2: "wheel" 450 x 450 x 200'),
    good(37, "by-name", NAMED, "a closed cavity of 4.321e+07", volume=SKIN_VOLUME, body="wheel"),
    bad(37, "wrong-name", NAMED, "there is no body 'weel'", "did you mean wheel?", body="weel"),
    bad(37, "number-too-high", mf.binary_stl(TWO), "there is no body '3'", body="3"),
    bad(37, "number-zero", mf.binary_stl(TWO), "there is no body '0'", body="0"),
    good(37, "largest", mf.binary_stl(TWO), body="1"),
    bad(37, "touching-cast-in-mould", mf.binary_stl(np.concatenate([SKIN, SKIN[:, ::-1], BLOCK])),
        "1,728 pairs of facets lie back to back", "wheel alone"),
    bad(37, "side-by-side", mf.ascii_stl(BOX, name="a") + mf.ascii_stl(np.add(BOX, [400.0, 0, 0]), name="b"),
        "2 separate bodies"),
    good(37, "patches", PATCHES),
    good(37, "speck", mf.binary_stl(np.concatenate([BOX, 0.01 * BOX - 30.0])), "1 stray shells"),
    bad(37, "dust", mf.binary_stl(np.concatenate([0.1 * BOX + 60.0 * n for n in range(60)])), "60 separate bodies",
        "at most 50"),
    good(38, "no-bore", BINARY),
    good(39, "off-centre", mf.binary_stl(np.add(SKIN, [1000.0, -300.0, 50.0])), volume=SKIN_VOLUME, rel=1e-5),
    good(39, "lying", mf.binary_stl(SKIN[:, :, [2, 0, 1]]), volume=SKIN_VOLUME),
    good(40, "thin", mf.binary_stl(BOX * [1.0, 1.0, 0.003]), volume=VOLUME * 0.003),
]  # fmt: skip

STL = OPEN + WINDING + UNITS + SHAPES + NUMBERS + LENGTHS + TEXTS + IMPOSTORS + BODIES

"""PLY, OBJ, 3MF and CAD files, right and wrong ones, each with what must come out."""

from __future__ import annotations

import re

import numpy as np

from tests.files import mesh_files as mf
from tests.files.mesh_corpus import BOX, VOLUME, bad, good, swapped

PLY = [
    bad(41, "cut-ascii", mf.ascii_ply(BOX)[:-30], "lines missing", "8 vertices and 12 facets", file="p.ply"),
    bad(41, "cut-binary", mf.binary_ply(BOX)[:-5], "5 bytes missing", file="p.ply"),
    bad(41, "no-header-end", "ply\nformat ascii 1.0\n", "no end_header", file="p.ply"),
    bad(41, "huge-count", swapped(mf.ascii_ply(BOX), "face 12", "face 4000000"), "lines missing", file="p.ply"),
    bad(41, "over-the-cap", swapped(mf.ascii_ply(BOX), "face 12", "face 6000000"), "6,000,000 facets", "at most",
        file="p.ply"),
    bad(41, "negative-count", swapped(mf.ascii_ply(BOX), "vertex 8", "vertex -8"), "line 3", "'element vertex -8'",
        file="p.ply"),
    bad(41, "points-only", swapped(mf.ascii_ply(BOX), "element face 12", "element face 0"), "no faces", file="p.ply"),
    bad(41, "word", swapped(mf.ascii_ply(BOX), r"\n3 \d", "\n3 zero"), "p.ply", file="p.ply"),
    bad(41, "nan", swapped(mf.ascii_ply(BOX), "400 200 100\n", "nan 200 100\n"), "corner 8", "not numbers",
        file="p.ply"),
    bad(41, "index-too-high", swapped(mf.ascii_ply(BOX), r"\n3 \d", "\n3 99"), "outside 1 to 8", file="p.ply"),
    bad(41, "open", mf.ascii_ply(BOX[1:]), "not watertight", file="p.ply"),
    good(41, "ascii", mf.ascii_ply(BOX), file="p.ply"),
    good(41, "inverted", mf.binary_ply(BOX[:, ::-1]), "inverted", file="p.ply"),
]  # fmt: skip
OBJ = [
    bad(42, "word", swapped(mf.obj(BOX), "v 0 0 0", "v 0 zero 0"), "line 1", "'zero' is not a usable number",
        file="p.obj"),
    bad(42, "comma", swapped(mf.obj(BOX), "v 0 0 0", "v 0,5 0 0"), "line 1", "decimal comma in '0,5'", file="p.obj"),
    bad(42, "two-numbers", swapped(mf.obj(BOX), "v 0 0 0", "v 0 0"), "line 1", "a vertex with 2 numbers", file="p.obj"),
    bad(42, "nan", swapped(mf.obj(BOX), "v 0 0 0", "v 0 nan 0"), "'nan' is not a usable number", file="p.obj"),
    bad(42, "index-zero", mf.obj(BOX, first=0), "'0' points at no vertex", file="p.obj"),
    bad(42, "index-of-20-digits", mf.obj(BOX) + f"f 1 2 {'9' * 20}\n", "line 21",
        "is not a vertex number", file="p.obj"),
    bad(42, "index-with-underscore", mf.obj(BOX) + "f 1 2 1_0\n", "line 21",
        "'1_0' is not a vertex number", file="p.obj"),
    bad(42, "index-too-high", mf.obj(BOX, first=2), "facet ", "outside 1 to 8", file="p.obj"),
    bad(42, "no-facets", "v 0 0 0\n", "has no facets", file="p.obj"),
    bad(42, "two-corners", mf.obj(BOX) + "f 1 2\n", "line 21", "a facet with 2 corners", file="p.obj"),
    bad(42, "free-form", "cstype bspline\n" + mf.obj(BOX), "free-form geometry 'cstype'", file="p.obj"),
    bad(42, "prose", "this is not a model\n", "line 1", "'this' is not an OBJ statement", file="p.obj"),
    bad(42, "over-the-cap", mf.obj(BOX), "more than 11 facets", file="p.obj", max_facets=11),
    good(42, "texture-indices", re.sub(r"(?m)^f (\d+) (\d+) (\d+)", r"f \1/1 \2/2/2 \3//3", mf.obj(BOX)), file="p.obj"),
    good(42, "quads", "v 0 0 0\nv 400 0 0\nv 400 200 0\nv 0 200 0\nv 0 0 100\nv 400 0 100\nv 400 200 100\n"
         "v 0 200 100\nf 4/1/1 3/2/1 2/3/1 1/4/1\nf 5//1 6//1 7//1 8//1\nf 1 2 6 5\nf 2 3 7 6\nf 3 4 8 7\n"
         "f -8 -4 -1 -5\n", file="p.obj"),
    good(42, "colours-and-groups", mf.obj(BOX, name="rim").replace("v 0 0 0", "v 0 0 0 1 0.5 0"), file="p.obj"),
]  # fmt: skip


def model(objects: str, items: str = '<item objectid="1"/>', unit: str = "millimeter") -> bytes:
    return mf.archive([("3D/3dmodel.model", mf.model_xml(objects, items, unit))])


MESH = mf.model_mesh(BOX)
LOOP = '<object id="1"><components><component objectid="1"/></components></object>'
HALVES = (f'<object id="2">{mf.model_mesh(BOX * [0.5, 1, 1])}</object><object id="1"><components>'
          '<component objectid="2"/><component objectid="2" transform="-1 0 0 0 1 0 0 0 1 390 0 0"/>'
          "</components></object>")  # fmt: skip
BOMB = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;">]>'
THREEMF = [
    good(43, "metre", mf.threemf(BOX / 1000.0, unit="meter"), file="p.3mf"),
    good(43, "micron", mf.threemf(BOX * 1000.0, unit="micron"), file="p.3mf"),
    good(43, "foot", mf.threemf(BOX / 304.8, unit="foot"), file="p.3mf"),
    good(43, "odd-size", mf.threemf(BOX * 2.0), "not the size of a wheel", volume=VOLUME * 8, file="p.3mf"),
    good(43, "unit-against-option", mf.threemf(BOX / 25.4, unit="inch"), "--units mm not used", units="mm",
         file="p.3mf"),
    good(43, "scaled-by-transform", mf.threemf(BOX, transform="0.9 0 0 0 0.9 0 0 0 2 0 0 0"), volume=VOLUME * 1.62,
         file="p.3mf"),
    good(43, "components", model(HALVES), "overlapping bodies united", volume=VOLUME * 390 / 400, file="p.3mf"),
    bad(43, "transform-short", mf.threemf(BOX, transform="1 0 0"), "transform", "12 finite numbers", file="p.3mf"),
    bad(43, "endless", model(LOOP), "without end", file="p.3mf"),
    bad(43, "missing-object", model("", '<item objectid="7"/>'), "object 7", "is built but not there", file="p.3mf"),
    bad(43, "no-items", model(f'<object id="1">{MESH}</object>', ""), "has no items", file="p.3mf"),
    bad(43, "unit", mf.threemf(BOX, unit="cubit"), "unit 'cubit'", file="p.3mf"),
    bad(43, "comma", model(swapped(f'<object id=\"1\">{MESH}</object>', 'x="400"', 'x="400,5"')),
        "x is '400,5'", "decimal point", file="p.3mf"),
    bad(43, "negative-index", model(swapped(f'<object id=\"1\">{MESH}</object>', r'v1="\d"', 'v1="-1"')), "v1 is '-1'",
        file="p.3mf"),
    bad(43, "index-too-high", model(swapped(f'<object id=\"1\">{MESH}</object>', r'v1="\d"', 'v1="99"')),
        "outside 1 to 8", file="p.3mf"),
    bad(43, "cut", mf.threemf(BOX)[:-40], "archive", "damaged", file="p.3mf"),
    bad(43, "broken-xml", mf.archive([("3D/3dmodel.model", "<model><resources>")]), "XML is damaged", file="p.3mf"),
    bad(43, "entities", mf.archive([("3D/3dmodel.model", BOMB + mf.model_xml("", ""))]), "refused", file="p.3mf"),
    bad(43, "zip-bomb", mf.archive([("3D/3dmodel.model", " " * 30_000_000)]), "unpacks from", "30,000,000",
        file="p.3mf"),
    bad(43, "traversal", mf.archive([("../../x.model", "<model/>")]), "'../../x.model' that leads outside",
        file="p.3mf"),
    bad(43, "absolute", mf.archive([("/etc/x.model", "<model/>")]), "leads outside", file="p.3mf"),
    bad(43, "other-zip", mf.archive([("a.txt", "hello")]), "a ZIP without a 3D model", file="p.3mf"),
    bad(43, "over-the-cap", mf.threemf(BOX), "more than 11 facets", file="p.3mf", max_facets=11),
]  # fmt: skip
CAD = [
    bad(44, "cut", mf.step(BOX)[:-400], "no END-ISO-10303-21", "cut short", file="p.stp"),
    bad(44, "html-as-iges", "<html></html>", "is not IGES: its content is HTML", file="p.igs"),
    bad(44, "noise-as-iges", np.random.default_rng(8).bytes(900), "is not IGES", file="p.iges"),
]  # fmt: skip

OTHER = PLY + OBJ + THREEMF + CAD

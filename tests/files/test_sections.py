"""Section tables, right and wrong ones: read as meant, or every fault of the file in one error."""

from __future__ import annotations

import io
import math
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from castq.core.errors import InputError
from castq.files.sections import read_sections
from castq.geometry.roles import ROLES
from castq.screening.types import Section

HEAD = "zone,role,section_mm,feeds_from"
GOOD = f"{HEAD}\nhub,hub,40,gate\narm,spoke,22,hub\nwell,rim well,11,arm\n"
DEMO = Path(__file__).parents[2] / "datasets" / "demo" / "sections.csv"


def zone(name: str, role: str, section_mm: float, feeds_from: str, **others: float) -> Section:
    plain = Section(name, role, section_mm, section_mm, section_mm, math.nan, feeds_from)
    return replace(plain, **others)


THREE = (zone("hub", "hub", 40.0, "gate"), zone("arm", "spoke", 22.0, "hub"), zone("well", "rim well", 11.0, "arm"))


@dataclass(frozen=True)
class Row:
    """One file and what must come out: words of the error, or sections and words of the warnings."""

    number: int
    name: str
    content: str | bytes
    faults: tuple[str, ...] = ()
    sections: tuple[Section, ...] = ()
    warnings: tuple[str, ...] = ()
    file: str = "s.csv"


def bad(number: int, name: str, content: str | bytes, *faults: str, file: str = "s.csv") -> Row:
    return Row(number, name, content, faults, file=file)


def good(
    number: int, name: str, content: str | bytes, *warnings: str, sections: tuple[Section, ...] = THREE,
    file: str = "s.csv",
) -> Row:  # fmt: skip
    return Row(number, name, content, sections=sections, warnings=warnings, file=file)


def with_cell(cell: str, head: str = HEAD) -> str:
    """The good table with the thickness of row 3 replaced."""
    return f"{head}\nhub,hub,40,gate\narm,spoke,{cell},hub\nwell,rim well,11,arm\n"


def one_fault(number: int, name: str, cell: str, *words: str) -> Row:
    return bad(number, name, with_cell(cell), "s.csv, row 3, section: " + words[0], *words[1:])


SEMICOLONS = "Zone;Role;Section (mm);Feeds from\nhub;hub;40,0;gate\narm;spoke;22,0;hub\nwell;rim well;11,0;arm\n"
ROWS = [
    good(41, "semicolon-and-decimal-comma", SEMICOLONS, "separated by semicolons", "header read: 'Zone' as zone"),
    good(41, "semicolon-and-point", SEMICOLONS.replace(",0", ".0"), "semicolons", "header read"),
    good(41, "tab", GOOD.replace(",", "\t"), "separated by tabs"),
    bad(41, "comma-and-point-mixed", SEMICOLONS.replace("22,0", "22.0"),
        "'40,0' has a decimal comma, '22.0' a decimal"),
    bad(41, "thousands-or-decimals", SEMICOLONS.replace("22,0", "1,234"), "row 3, section", "'1,234' can mean"),
    bad(42, "decimal-comma-in-comma-file", "zone,role,section_mm,feeds_from\nhub,hub,40,5,gate\narm,spoke,22,5,hub\n",
        "row 2: has 5 cells, the header has 4", "row 3: has 5 cells", "decimal comma cuts a number in two"),
    good(42, "quoted-decimal-comma", with_cell('"22,0"')),
    bad(43, "longer-row", GOOD.replace("22,hub", "22,hub,extra"), "row 3: has 5 cells, the header has 4"),
    good(43, "empty-cells-at-the-end", GOOD.replace("22,hub", "22,hub,,")),
    bad(44, "shorter-row", GOOD.replace(",22,hub", ",22"), "row 3: has 3 cells, the header has 4", "empty ones too"),
    one_fault(45, "thousands-and-comma", '"1.234,5"', "'1.234,5' has a thousands mark and a decimal mark"),
    one_fault(45, "thousands-and-point", '"1,234.5"', "'1,234.5' has a thousands mark and a decimal mark"),
    bad(46, "blank-needed", with_cell(""), "row 3, section: cell is empty", "fill it in"),
    bad(46, "blank-zone", GOOD.replace("arm,spoke", ",spoke"), "row 3, zone: cell is empty"),
    bad(46, "blank-feeder", GOOD.replace("22,hub", "22,"), "row 3, feeds_from: cell is empty"),
    one_fault(46, "nan", "nan", "'nan' is not a number"),
    one_fault(46, "not-available", "NA", "'NA' is not a number"),
    one_fault(46, "dash", "-", "'-' is not a number"),
    good(46, "blank-optional", "zone,role,section_mm,feeds_from,volume_cm3,choke_mm\nhub,hub,40,gate,,\n"
         "arm,spoke,22,hub,, \nwell,rim well,11,arm,,\n"),
    good(46, "blank-rows", GOOD.replace("\narm", "\n\n,,,\narm")),
    one_fault(47, "inf", "inf", "'inf' is not a number"),
    one_fault(47, "overflow", "1e400", "'1e400' is not finite"),
    one_fault(48, "negative", "-12", "'-12' is -12 mm, out of range; expected 2 to 200 mm"),
    one_fault(48, "zero", "0", "'0' is 0 mm, out of range"),
    one_fault(48, "metres", "0.022", "'0.022' is 0.022 mm, out of range", "is it in m (22 mm)?"),
    one_fault(48, "inches", "0.87", "'0.87' is 0.87 mm, out of range", "is it in cm (8.7 mm) or inch (22.098 mm)?"),
    one_fault(48, "too-thick", "2200", "'2200' is 2200 mm, out of range", "check the value and its unit"),
    good(49, "unit-in-cell", with_cell("22 mm")),
    good(49, "unit-without-space", with_cell("22mm")),
    good(49, "other-unit-in-cell", with_cell("2.2 cm")),
    good(49, "no-break-space", with_cell("22\u00a0mm")),
    good(49, "micrometres", with_cell("22000 µm")),
    good(49, "exponent", with_cell("2.2e1")),
    good(49, "unit-in-cells-only", GOOD.replace("section_mm", "section").replace(",40,", ",40 mm,")
         .replace(",22,", ",22 mm,").replace(",11,", ",1.1 cm,")),
    bad(49, "no-unit-at-all", GOOD.replace("section_mm", "section"), "row 2, section: '40' has no unit",
        "row 3, section: '22' has no unit", "row 4, section: '11' has no unit", "section_mm"),
    good(49, "header-in-inch", "zone,role,section_inch,feeds_from\nhub,hub,1,gate\n",
         sections=(zone("hub", "hub", 25.4, "gate"),)),
    one_fault(49, "unknown-unit", "22 furlong", "unit 'furlong' in '22 furlong'"),
    one_fault(49, "weight-unit", "22 kg", "unit 'kg' in '22 kg'"),
    good(50, "row-repeated", GOOD + "arm,spoke,22,hub\n", "row 5 repeats row 3"),
    bad(50, "zone-twice", GOOD + "arm,spoke,23,hub\n", "row 5, zone: 'arm' is in row 3 already", "each zone once"),
    bad(50, "zone-twice-in-capitals", GOOD + "ARM,spoke,23,hub\n", "row 5, zone: 'ARM' is in row 3 already"),
    bad(51, "header-twice", GOOD.replace("role", "zone"), "header 'zone' is there twice"),
    bad(51, "header-twice-with-units", GOOD.replace("role", "section_cm"), "'section_mm' is there twice"),
    bad(52, "no-header", GOOD.split("\n", 1)[1], "columns missing: zone, section, feeds_from", "must be the header",
        "'hub' is not a column"),
    bad(52, "one-missing", GOOD.replace("feeds_from", "fed_from"), "columns missing: feeds_from",
        "header 'fed_from' is not a column", "did you mean feeds_from"),
    bad(52, "thickness", GOOD.replace("section_mm", "sections_mm"), "'sections_mm'", "columns missing: section"),
    bad(52, "unknown-column", GOOD.replace("role", "colour"), "header 'colour' is not a column castq reads"),
    bad(52, "wrong-unit-in-header", GOOD.replace("section_mm", "section_kg"), "'section_kg' is not a column"),
    good(53, "mark", b"\xef\xbb\xbf" + GOOD.encode()),
    good(53, "capitals-and-spaces", GOOD.replace(HEAD, " ZONE , Role,Section [mm],Feeds-From"),
         "header read: 'ZONE' as zone, 'Role' as role, 'Section [mm]' as section [mm], 'Feeds-From' as feeds_from"),
    good(53, "spaces-in-cells", GOOD.replace("arm,spoke,22", " arm ,  spoke, 22 ")),
    good(53, "crlf", GOOD.replace("\n", "\r\n")),
    good(53, "cr", GOOD.replace("\n", "\r")),
    good(53, "comment-lines", "# SYNTHETIC; invented\n#\n" + GOOD),
    good(54, "zone-00123", f"{HEAD}\n00123,hub,40,gate\n123,spoke,22,00123\n",
         sections=(zone("00123", "hub", 40.0, "gate"), zone("123", "spoke", 22.0, "00123"))),
    good(55, "zone-1E5", f"{HEAD}\n1E5,hub,40,gate\n", sections=(zone("1E5", "hub", 40.0, "gate"),)),
    good(56, "zone-NA-and-null", f"{HEAD}\nNA,hub,40,gate\nnull,spoke,22,NA\n",
         sections=(zone("NA", "hub", 40.0, "gate"), zone("null", "spoke", 22.0, "NA"))),
    good(57, "zone-24-digits", f"{HEAD}\n{'9' * 24},hub,40,gate\n", sections=(zone("9" * 24, "hub", 40.0, "gate"),)),
    good(57, "zone-like-a-formula", f"{HEAD}\n=1+1,hub,40,gate\n", sections=(zone("=1+1", "hub", 40.0, "gate"),)),
    bad(58, "nul", GOOD.replace("arm", "a\0m", 1), "row 3: holds a NUL byte"),
    bad(58, "escape", GOOD.replace("arm", "a\x1b[m", 1), "row 3, zone: holds U+001B a control character"),
    bad(58, "right-to-left", GOOD.replace("arm", "a\u202em", 1), "holds U+202E RIGHT-TO-LEFT OVERRIDE"),
    one_fault(59, "unicode-minus", "\u221222", "'\u221222' holds U+2212 MINUS SIGN"),
    one_fault(59, "full-width-digits", "\uff12\uff12", "'\uff12\uff12' holds U+FF12 FULLWIDTH DIGIT TWO"),
    one_fault(59, "arabic-digits", "\u0662\u0662", "'\u0662\u0662' holds U+0662 ARABIC-INDIC DIGIT TWO"),
    one_fault(60, "hexadecimal", "0x10", "'0x10' is not a number"),
    one_fault(60, "underscore", "1_0", "'1_0' is not a number"),
    one_fault(60, "formula", "=20+2", "'=20+2' is not a number"),
    one_fault(60, "word", "thick", "'thick' is not a number"),
    one_fault(60, "two-numbers", "20 22", "'20 22' is not a number"),
    one_fault(60, "true", "True", "'True' is not a number"),
    bad(61, "unclosed-quote", GOOD.replace("arm", '"arm', 1), "row 3: a quote opens here and is never closed"),
    bad(61, "unclosed-on-the-last-row", GOOD.replace("well", '"well', 1), "row 4: a quote opens here"),
    good(61, "line-break-in-quotes", GOOD.replace("arm", '"a\nrm"'),
         sections=(THREE[0], replace(THREE[1], zone="a rm"), replace(THREE[2], feeds_from="a rm"))),
    bad(62, "latin-1", GOOD.replace("arm", "b\u00fcgel").encode("latin-1"), "row 3: byte 0xFC is not UTF-8",
        "CSV UTF-8"),
    good(62, "utf-8", GOOD.replace("arm", "b\u00fcgel"),
         sections=(THREE[0], replace(THREE[1], zone="b\u00fcgel"), replace(THREE[2], feeds_from="b\u00fcgel"))),
    good(62, "utf-16", GOOD.encode("utf-16"), "UTF-16"),
    bad(62, "utf-16-without-mark", GOOD.encode("utf-16-le"), "row 1: holds a NUL byte", "UTF-16"),
    bad(63, "empty", "", "is empty (0 bytes)"),
    bad(63, "blank", "\n \n", "has no rows"),
    bad(63, "comments-only", "# nothing\n", "has no rows"),
    bad(63, "header-only", HEAD + "\n", "row 1: is the only row"),
    bad(100, "unknown-feeder", GOOD.replace("22,hub", "22,hubb"), "row 3, feeds_from: 'hubb' is no zone",
        "did you mean hub"),
    bad(100, "feeder-in-capitals", GOOD.replace("22,hub", "22,HUB"), "'HUB' is no zone", "did you mean hub"),
    bad(100, "loop", GOOD.replace("40,gate", "40,well"), "in a loop: hub <- well <- arm <- hub",
        "no zone is fed from the gate"),
    bad(100, "own-feeder", GOOD.replace("22,hub", "22,arm"), "in a loop: arm <- arm"),
    bad(100, "zone-named-gate", GOOD.replace("arm,spoke", "gate,spoke"), "row 3, zone: 'gate' is the inlet"),
    bad(100, "unknown-role", GOOD.replace("rim well", "rim wel"), "row 4, role: role 'rim wel' is not one castq knows",
        "did you mean rim well"),
    bad(100, "no-role", "zone,section_mm,feeds_from\nhub,40,gate\narm,22,hub\n", "row 3, role: zone 'arm' has no role"),
    good(100, "zone-is-the-role", "zone,section_mm,feeds_from\nhub,40,gate\nspoke,22,hub\n",
         sections=(THREE[0], zone("spoke", "spoke", 22.0, "hub"))),
    bad(100, "choke-thicker-than-section", "zone,role,section_mm,choke_mm,feeds_from\nhub,hub,40,45,gate\n",
        "row 2, choke: 45 mm is thicker than the section, 40 mm"),
    good(100, "all-columns",
         "zone,role,section_mm,wall_mm,choke_mm,typical_mm,volume_cm3,feed_distance_mm,feeds_from,note\n"
         "hub,hub,40,34,28,30,610,55,gate,as drawn\n",
         sections=(zone("hub", "hub", 40.0, "gate", wall_mm=34.0, choke_mm=28.0, typical_mm=30.0, volume_cm3=610.0,
                        feed_distance_mm=55.0),)),
    bad(100, "volume-in-mm3", "zone,role,section_mm,volume_cm3,feeds_from\nhub,hub,40,610000,gate\n",
        "row 2, volume: '610000' is 610000 cm3, out of range", "is it in mm3 (610 cm3)?"),
    bad(100, "everything-at-once", f"{HEAD}\nhub,hub,-4,gate\narm,spke,22,hubb\nwell,rim well,nan,arm,9\n",
        "row 2, section: '-4'", "row 3, role: role 'spke'", "row 4: has 5 cells"),
    bad(100, "html", "<html><body>Sign in</body></html>", "is not CSV: its content is HTML"),
    bad(100, "too-many-rows", GOOD + "".join(f"z{n},spoke,20,hub\n" for n in range(2100)), "more than 2,000 rows"),
    bad(100, "ending", GOOD, "ending '.txt'", file="s.txt"),
    bad(100, "csv-named-xlsx", GOOD, "is not XLSX: its content is text", file="s.xlsx"),
    bad(100, "old-xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "old .xls file or a workbook with a password",
        file="s.xls"),
    bad(100, "password", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "without a password", file="s.xlsx"),
]  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=[f"{row.number}-{row.name}" for row in ROWS])
def test_table_is_read_as_meant_or_all_its_faults_are_told(tmp_path: Path, row: Row) -> None:
    path = tmp_path / row.file
    path.write_bytes(row.content if isinstance(row.content, bytes) else row.content.encode())
    if row.sections:
        sections, warnings, stamp = read_sections(path)
        assert repr(sections) == repr(row.sections)
        assert stamp.name == row.file and stamp.size_bytes == path.stat().st_size
        assert len(warnings) == len(row.warnings)
        assert all(words in " | ".join(warnings) for words in row.warnings)
        return
    with pytest.raises(InputError) as caught:
        read_sections(path)
    message = str(caught.value)
    assert len(message.splitlines()) == len(caught.value.faults) and "Traceback" not in message
    assert all(line.startswith(row.file) and ";" in line and line.isprintable() for line in message.splitlines())
    for words in row.faults:
        assert words in message
    if "row 3, section: " in row.faults[0]:
        assert len(caught.value.faults) == 1


def test_demo_table_is_a_whole_wheel() -> None:
    assert DEMO.read_text(encoding="utf-8").startswith("# SYNTHETIC")
    sections, warnings, _ = read_sections(DEMO)
    assert warnings == () and {section.role for section in sections} == set(ROLES)
    assert [section.role for section in sections].count("spoke") == 2
    assert 3000.0 < sum(section.volume_cm3 for section in sections) < 4500.0
    assert all(section.choke_mm <= section.typical_mm <= section.section_mm for section in sections)


LINES: list[list[Any]] = [
    ["zone", "role", "section_mm", "feeds_from"],
    ["hub", "hub", 40, "gate"],
    ["arm", "spoke", 22.0, "hub"],
    ["well", "rim well", "11 mm", "arm"],
]


def workbook(change: Callable[[Any], None] = lambda book: None) -> bytes:
    book = openpyxl.Workbook()
    for line in LINES:
        book.active.append(line)
    change(book)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def put(cell: str, value: Any) -> Callable[[Any], None]:
    def change(book: Any) -> None:
        book.active[cell] = value

    return change


def second_sheet(title: str) -> Callable[[Any], None]:
    def change(book: Any) -> None:
        book.create_sheet(title).append(["something else"])

    return change


def merged(book: Any) -> None:
    book.active.merge_cells("A2:A3")


def first_row_a_comment(book: Any) -> None:
    book.active.insert_rows(1)
    book.active["A1"] = "# SYNTHETIC"


def date(book: Any) -> None:
    import datetime

    book.active["C3"] = datetime.date(2026, 5, 12)


@pytest.mark.parametrize(
    ("change", "warnings"),
    [(lambda book: None, 0), (second_sheet("sections2"), -1), (first_row_a_comment, 0), (put("A9", "  "), 0)],
    ids=["plain", "two-sheets", "comment", "blank-row"],
)
def test_workbook_is_read(tmp_path: Path, change: Callable[[Any], None], warnings: int) -> None:
    (tmp_path / "s.xlsx").write_bytes(workbook(change))
    sections, said, _ = read_sections(tmp_path / "s.xlsx", sheet="Sheet" if warnings < 0 else None)
    assert repr(sections) == repr(THREE) and said == ()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (workbook(put("C3", "=20+2")), ["row 3, cell C3: a formula whose value was never stored", "save it again"]),
        (workbook(put("C3", "#REF!")), ["row 3", "#REF!"]),
        (workbook(date), ["row 3, cell C3: a date or time (2026-05-12", "took a number for a date"]),
        (workbook(put("C3", True)), ["row 3, section: 'True' is not a number"]),
        (workbook(put("C3", 0.022)), ["'0.022' is 0.022 mm", "is it in m (22 mm)?"]),
        (workbook(put("C3", None)), ["row 3, section: cell is empty"]),
        (workbook(merged), ["sheet Sheet, A2:A3: cells are merged"]),
        (workbook(second_sheet("other")), ["has 2 filled sheets: Sheet, other"]),
        (workbook(put("XFD1048576", 1)), ["1,048,576 rows and 16,384 columns"]),
        (workbook()[:-300], ["is not a whole workbook"]),
        (b"PK\x03\x04" + bytes(500), ["is not a whole workbook"]),
    ],
    ids=["formula", "error", "date", "true", "metres", "blank", "merged", "sheets", "far-cell", "cut", "not-a-zip"],
)
def test_workbook_fault_is_one_clear_line(tmp_path: Path, content: bytes, words: list[str]) -> None:
    (tmp_path / "s.xlsx").write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_sections(tmp_path / "s.xlsx")
    assert len(caught.value.faults) == 1 and all(word in str(caught.value) for word in words)


def test_zip_that_is_no_workbook_and_a_bomb(tmp_path: Path) -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("a.txt", "hello")
    (tmp_path / "s.xlsx").write_bytes(stream.getvalue())
    with pytest.raises(InputError, match="is not a whole workbook"):
        read_sections(tmp_path / "s.xlsx")
    with zipfile.ZipFile(stream, "a", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", " " * 60_000_000)
    (tmp_path / "s.xlsx").write_bytes(stream.getvalue())
    with pytest.raises(InputError, match="unpacks to 60,000,005 bytes"):
        read_sections(tmp_path / "s.xlsx")


def test_sheet_that_is_not_there_gets_a_hint(tmp_path: Path) -> None:
    (tmp_path / "s.xlsx").write_bytes(workbook())
    with pytest.raises(InputError, match="has no sheet 'Shet'; did you mean Sheet"):
        read_sections(tmp_path / "s.xlsx", sheet="Shet")

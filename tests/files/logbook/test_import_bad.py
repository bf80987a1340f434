"""Bad tables and mappings: one clear sentence with row and column or key, and no row written."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from castq.core.errors import Fault, InputError
from castq.files.logbook import open_book
from castq.files.logbook.import_rows import import_rows
from castq.files.logbook.mapping import read_mapping
from castq.files.melt_demo import write_melt_demo
from tests.files.logbook.plant import NOW, ROW, Plant, added, aired, cells, mapped, treated, weighed

HEADER = ";".join(ROW)
GOOD = ";".join(ROW.values())


def raw(data: bytes | str, **more: str) -> Plant:
    return Plant(raw=data if isinstance(data, bytes) else data.encode(), **more)


def at(*times: str, **time: str) -> Plant:
    plant = Plant(rows=[ROW | {"Time": text, "H": f"0,1{n}"} for n, text in enumerate(times)])
    plant.time |= time
    if "%z" in plant.time["format"]:
        del plant.time["zone"]
    return plant


def zoned(zone: str, text: str, **time: str) -> Plant:
    plant = cells(Time=text)
    plant.time |= {"zone": f'"{zone}"', **time}
    return plant


# What is wrong: the plant, where the sentence points, what it says.
ROWS: dict[str, tuple[Plant, str, str]] = {
    "weights swapped": (weighed(**{"Air": "49,80", "Air water": "80,00"}), "row 2, Air, Air water", "swap the two"),
    "weights equal": (weighed(**{"Vacuum water": "80,00"}), "row 2, Vacuum, Vacuum water", "weigh again"),
    "a weight missing": (weighed(**{"Air water": ""}), "row 2, Air, Air water", "one of the weights"),
    "a weight negative": (weighed(Air="-80,00"), "row 2, Air, Air water", "less in water"),
    "densities swapped": (cells(Air="2,600", Vacuum="2,650"), "row 2, Vacuum", "swap the two"),
    "kg/m3": (cells(Air="2650", Vacuum="2600"), "row 2, Air", "looks like kg/m3"),
    "above pore-free": (cells(Air="2,95"), "row 2, Air", "pore-free"),
    "density missing": (cells(Air=""), "row 2, Air", "is empty beside the rest"),
    "Fahrenheit": (cells(Melt="1328"), "row 2, Melt", "1328 degF is 720 degC"),
    "kelvin": (cells(Melt="993"), "row 2, Melt", "993 K is 720 degC"),
    "below liquidus": (cells(Melt="520"), "row 2, Melt", "below the liquidus"),
    "temperature missing": (cells(Melt=""), "row 2, Melt", "is empty"),
    "hydrogen in ppm": (cells(H="0,13 ppm"), "row 2, H", "carries a unit"),
    "hydrogen in hundredths": (cells(H="15"), "row 2, H", "instruments show hundredths"),
    "hydrogen zero": (cells(H="0"), "row 2, H", "out of range"),
    "pressure missing": (cells(mbar=""), "row 2, mbar", "is empty beside the rest"),
    "pressure in bar": (cells(mbar="0,08"), "row 2, mbar", "write 80 if it is in bar"),
    "pressure is vacuum drawn": (cells(mbar="933"), "row 2, mbar", "absolute pressure"),
    "nothing measured": (cells(Air="", Vacuum="", H=""), "row 2", "holds no measurement"),
    "no furnace": (cells(Furnace=""), "row 2, Furnace", "is empty"),
    "hidden letter in furnace": (cells(Furnace="F\u200b1"), "row 2, Furnace", "U+200B"),
    "point for comma": (cells(Air="2.650"), "row 2, Air", "has a point, the mapping states a decimal comma"),
    "thousands and decimal": (cells(Melt="1.720,5"), "row 2, Melt", "thousands mark"),
    "thousands twice": (cells(Melt="1,720,500"), "row 2, Melt", "thousands mark"),
    "apostrophe": (cells(Melt="1'720"), "row 2, Melt", "not a number"),
    "unit in the cell": (cells(Air="2,65 g/cm3"), "row 2, Air", "carries a unit"),
    "word for a number": (cells(H="n/a"), "row 2, H", "not a number"),
    "nan": (cells(H="nan"), "row 2, H", "not a number"),
    "too large": (cells(H="1e999"), "row 2, H", "not finite"),
    "hexadecimal": (cells(Melt="0x2d0"), "row 2, Melt", "carries a unit or a letter"),
    "underscore": (cells(Melt="7_20"), "row 2, Melt", "not a number"),
    "minus of print": (cells(H="\u22120,15"), "row 2, H", "U+2212"),
    "wide digits": (cells(Melt="\uff17\uff12\uff10"), "row 2, Melt", "FULLWIDTH"),
    "endless number": (cells(Melt="7" * 400), "row 2, Melt", "not a number"),
    "date of another form": (cells(Time="2026-03-02 14:10"), "row 2, Time", "is not a time written as"),
    "31 February": (cells(Time="31.02.2026 14:10"), "row 2, Time", "is not a time"),
    "no time": (cells(Time=""), "row 2, Time", "is empty"),
    "zoned among naive": (cells(Time="02.03.2026 14:10+01:00"), "row 2, Time", "carries an offset"),
    "naive among zoned": (at("02.03.2026 14:10+01:00", "02.03.2026 14:20", format='"%d.%m.%Y %H:%M%z"'),
                          "row 3, Time", "has no offset"),
    "year 26": (cells(Time="02.03.0026 14:10"), "row 2, Time", "in the year 26"),
    "of the future": (cells(Time="02.03.2027 14:10"), "row 2, Time", "has not come yet"),
    "backwards": (at("02.03.2026 14:10", "02.03.2026 14:20", "02.03.2026 13:10"), "row 4, Time", "runs backwards"),
    "forwards in a table of newest first": (at("02.03.2026 14:10", "02.03.2026 15:10", order='"newest first"'),
                                            "Time", "runs backwards"),
    "hour that never was": (zoned("Europe/Paris", "29.03.2026 02:30"), "row 2, Time", "never was"),
    "hour that was twice": (zoned("Europe/Paris", "26.10.2025 02:30"), "row 2, Time", "was twice"),
    "hour that never was, with a rule": (zoned("Europe/Paris", "29.03.2026 02:30", fold='"first"'), "row 2, Time",
                                         "never was"),
    "short row": (raw(f"{HEADER}\n{GOOD}\nF1;2\n"), "row 3", "has 2 cells, the header has 8"),
    "long row": (raw(f"{HEADER}\n{GOOD};x\n"), "row 2", "has 9 cells"),
    "humidity as a fraction": (aired(RH="0,65"), "row 2, RH", "write 65"),
    "humidity above 100": (aired(RH="120"), "row 2, RH", "above 100"),
    "dew point above the air": (aired(Dew="31,0"), "row 2, Dew", "above the air temperature"),
    "air in Fahrenheit": (aired(Air="77"), "row 2, Air", "77 degF is 25 degC"),
    "air without dampness": (aired(RH=""), "row 2, RH", "neither humidity nor dew point"),
    "treatment in seconds": (treated(Minutes="720"), "row 2, Minutes", "did you mean 720 s"),
    "treatment of negative length": (treated(Minutes="-5"), "row 2, Minutes", "cannot be"),
    "strontium beyond reason": (added(ppm="20000"), "row 2, ppm", "out of range"),
    "addition of a negative weight": (added(kg="-1,5"), "row 2, kg", "cannot be"),
    "unknown addition": (added(What="Na"), "row 2, What", "has no meaning"),
    "content of mere metal": (added(What="Al"), "row 2, ppm", "says nothing for metal"),
}  # fmt: skip

FILES: dict[str, tuple[Plant, str, str]] = {
    "empty file": (raw(""), "", "is empty (0 bytes)"),
    "only blank lines": (raw("\n\n;;\n"), "", "has no rows"),
    "header alone": (raw(HEADER + "\n"), "", "no rows below the header"),
    "NUL": (raw(f"{HEADER}\n{GOOD}\n\0\n"), "row 3", "NUL"),
    "UTF-16 as UTF-8": (raw(f"{HEADER}\n{GOOD}\n".encode("utf-16")), "row 1, byte 0", "is not utf-8"),
    "UTF-16 without mark": (raw(f"{HEADER}\n{GOOD}\n".encode("utf-16-le")), "row 1", "NUL"),
    "Windows text as UTF-8": (raw(f"{HEADER}\n{GOOD}\n#°\n".encode("cp1252")), "row 3, byte", "0xB0 is not utf-8"),
    "mark of UTF-8 in Windows text": (Plant(encoding="utf-8-sig", file=Plant().file | {"encoding": '"cp1252"'}),
                                      "row 1", "mark of UTF-8"),
    "byte that Windows text has not": (raw(f"{HEADER}\n{GOOD}\n".encode() + b"\x81",
                                           file=Plant().file | {"encoding": '"cp1252"'}),
                                       "row 3", "0x81 is not cp1252"),
    "10 MB line": (raw(f"{HEADER}\n" + "x;" * 5_000_000), "row 2", "10,000,000 characters long"),
    "open quote": (raw(f'{HEADER}\n"{GOOD}\n{GOOD}\n'), "row 2", "never closed"),
    "duplicated header": (raw(f"{HEADER};Air\n{GOOD};2,6\n"), "header", "'Air' is there 2 times"),
    "column missing": (raw(f"{HEADER.replace('Melt', 'Mlet')}\n{GOOD}\n"), "header", "did you mean Mlet"),
    "another separator": (raw(f"{HEADER}\n{GOOD}\n".replace(";", "\t")), "header", "the header is one cell"),
    "web page": (raw("<!DOCTYPE html><html>"), "", "its content is HTML"),
    "workbook named CSV": (raw(b"PK\x03\x04abc"), "", "its content is ZIP"),
    "CSV named workbook": (raw(f"{HEADER}\n{GOOD}\n", name="plant.xlsx"), "", "its content is text"),
    "torn workbook": (raw(b"PK\x03\x04" + b"\0" * 60, name="plant.xlsx"), "", "not a whole workbook"),
    "old workbook": (raw(b"\xd0\xcf\x11\xe0", name="plant.csv"), "", "old Office"),
    "another ending": (Plant(name="plant.ods"), "", "'.ods' is not a table"),
}  # fmt: skip

MAPS: dict[str, tuple[Plant, str, str]] = {
    "decimal not stated": (mapped("file", "decimal", None), "file.decimal", "is missing"),
    "decimal left empty": (mapped("file", "decimal", '""'), "", "left empty: file.decimal"),
    "decimal unknown": (mapped("file", "decimal", '","'), "file.decimal", "not known"),
    "encoding not stated": (mapped("file", "encoding", None), "", "does not state its encoding"),
    "encoding unknown": (mapped("file", "encoding", '"utf8mb4"'), "file.encoding", "not known"),
    "separator not stated": (mapped("file", "separator", None), "", "does not state its separator"),
    "misspelt key": (mapped("file", "seperator", '";"'), "file.seperator", "separator"),
    "zone not stated": (mapped("time", "zone", None), "time.zone", "is missing"),
    "zone unknown": (mapped("time", "zone", '"Etc/GMT-99"'), "time.zone", "not a time zone"),
    "zone from another folder": (mapped("time", "zone", '"../../etc/passwd"'), "time.zone", "not a time zone"),
    "zone and offsets": (mapped("time", "format", '"%d.%m.%Y %H:%M%z"'), "time.zone", "beside %z"),
    "format without a year": (mapped("time", "format", '"%d.%m. %H:%M"'), "time.format", "lacks year"),
    "format with an hour of twelve": (mapped("time", "format", '"%d.%m.%Y %I:%M"'), "time.format", "lacks"),
    "format unknown": (mapped("time", "format", '"%c"'), "time.format", "%c is not read"),
    "formats and columns uneven": (mapped("time", "column", '["Day", "Hour"]'), "time.format", "as many formats"),
    "order not stated": (mapped("time", "order", None), "time.order", "is missing"),
    "kind unknown": (mapped("kind", "constant", '"probe"'), "kind.constant", "not known"),
    "kind without fields": (mapped("kind", "constant", '"air"'), "air", "is missing"),
    "field unknown": (mapped("sample", "melt_temperature", '{ column = "Melt" }'), "sample.melt_temperature",
                      "did you mean melt_temp"),
    "unit not stated": (mapped("sample", "melt_temp", '{ column = "Melt" }'), "sample.melt_temp.unit", "is missing"),
    "unit unknown": (mapped("sample", "melt_temp", '{ column = "Melt", unit = "deg" }'), "sample.melt_temp.unit",
                     "not known"),
    "test pressure not given": (mapped("sample", "test_pressure", None), "sample.test_pressure", "never assumed"),
    "column and constant": (mapped("sample", "alloy", '{ column = "x", constant = "A356" }'), "sample.alloy",
                            "a column and a constant"),
    "alloy unknown": (mapped("sample", "alloy", '{ constant = "AlSi77" }'), "sample.alloy", "not a known alloy"),
    "ambiguous constant": (mapped("sample", "test_pressure", '{ constant = "1,080", unit = "mbar" }'), "constant",
                           "can mean a decimal comma"),
    "only one density": (mapped("sample", "in_air_density", None), "sample.in_air_density", "come in pairs"),
    "a word left empty": (mapped("sample", "furnace", '{ column = "Furnace", values = { "" = "F" } }'), "",
                          "left empty: sample.furnace.values"),
    "no TOML": (Plant(extra="decimal = ,"), "line", "near"),
}  # fmt: skip


def sheet(change: Callable[[openpyxl.Workbook], None]) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        book = openpyxl.Workbook()
        book.active.append(list(ROW))
        book.active.append(["02.03.2026 14:10", "F1", 720, 2.65, 2.6, 80, 0.15, "A"])
        change(book)
        book.save(path)

    return write


SHEETS: dict[str, tuple[Callable[[openpyxl.Workbook], object], str, str]] = {
    "formula without a value": (lambda b: b.active.__setitem__("D2", "=2.6+0.05"), "row 2, Air", "never stored"),
    "error value": (lambda b: b.active.__setitem__("C2", "#DIV/0!"), "row 2, Melt", "error value #DIV/0!"),
    "formula for a furnace": (lambda b: b.active.__setitem__("B2", "=A9"), "row 2, Furnace", "never stored"),
    "number as text with a point": (lambda b: b.active.__setitem__("D2", "2.650"), "row 2, Air", "has a point"),
    "merged cells": (lambda b: b.active.merge_cells("A3:C3"), "sheet Sheet, A3:C3", "merged"),
    "two sheets": (lambda b: b.create_sheet("more").append(["x"]), "", "2 filled sheets"),
    "true for a number": (lambda b: b.active.__setitem__("C2", True), "row 2, Melt", "not a number"),
    "hour without a day": (lambda b: b.active.__setitem__("A2", __import__("datetime").time(14, 10)), "row 2, Time",
                           "a time of day"),
}  # fmt: skip


def said(plant: Plant, folder: Path) -> tuple[Fault, ...]:
    """Return what the import says of a plant; nothing may have been written."""
    try:
        result = plant.imported(folder)
    except InputError as error:
        faults = error.faults
    else:
        assert result.written == 0 and result.refused
        assert result.rows == result.held_back + result.refused_rows + len(result.duplicates) + result.empty
        faults = result.faults
    if (folder / "book.sqlite").exists():
        with open_book(folder / "book.sqlite") as book:
            assert book.head().rows == 0
    return faults


def check(faults: tuple[Fault, ...], place: str, words: str) -> None:
    assert any(place in fault.place and words in str(fault) for fault in faults), [str(fault) for fault in faults]
    for fault in faults:
        line = str(fault)
        assert (
            "\n" not in line
            and max(map(len, (fault.found, fault.expected, fault.mend))) <= 200
            and line.count(": ") >= 1
        )


@pytest.mark.parametrize("case", [*ROWS, *FILES, *MAPS])
def test_a_bad_table_or_mapping_is_told_in_one_sentence(case: str, tmp_path: Path) -> None:
    plant, place, words = (ROWS | FILES | MAPS)[case]
    check(said(plant, tmp_path), place, words)


@pytest.mark.parametrize("case", SHEETS)
def test_a_bad_workbook_is_told_in_one_sentence(case: str, tmp_path: Path) -> None:
    change, place, words = SHEETS[case]
    sheet(change)(tmp_path / "plant.xlsx")
    check(said(Plant(name="plant.xlsx"), tmp_path), place, words)


def test_rubbish_is_refused_or_counted_and_never_more_than_that(tmp_path: Path) -> None:
    chance = random.Random(5)
    demo = write_melt_demo(tmp_path)
    table, mapping = demo.table.read_bytes()[:4000], demo.mapping.read_bytes()
    for _ in range(150):
        spoilt = {demo.table: bytearray(table), demo.mapping: bytearray(mapping)}
        data = spoilt[chance.choice([demo.table, demo.table, demo.mapping])]
        for _ in range(chance.choice([1, 3, 30])):
            place = chance.randrange(len(data))
            data[place : place + chance.choice([0, 1, 1, 5])] = chance.randbytes(chance.choice([0, 1, 1, 4]))
        for path, content in spoilt.items():
            path.write_bytes(content)
        try:
            result = import_rows(None, demo.table, read_mapping(demo.mapping), entered_by="A", clock=lambda: NOW)
        except InputError as error:
            assert str(error)
        else:
            done = result.held_back + result.refused_rows + len(result.duplicates) + result.empty
            assert (result.rows, result.written) == (done, 0)


def test_there_are_enough_of_them_and_none_is_good() -> None:
    assert len(ROWS) + len(FILES) + len(MAPS) + len(SHEETS) >= 100
    assert len(ROWS | FILES | MAPS) == len(ROWS) + len(FILES) + len(MAPS)


@pytest.mark.parametrize("make", [Plant, weighed, treated, aired, added])
def test_the_plants_that_are_spoilt_are_good_before(make: Callable[[], Plant], tmp_path: Path) -> None:
    assert make().imported(tmp_path).words == "1 row: 1 written, 0 refused"


def test_the_workbook_that_is_spoilt_is_good_before(tmp_path: Path) -> None:
    sheet(lambda _: None)(tmp_path / "plant.xlsx")
    assert Plant(name="plant.xlsx").imported(tmp_path).written == 1

"""Documents and tables for other programs: valid against their schemas, no formula, the same bytes each time."""

from __future__ import annotations

import csv
import io
import json
import struct
import zipfile
import zlib
from dataclasses import replace
from importlib.resources import files
from xml.dom import minidom

import numpy as np
import openpyxl
import pytest
import report_sample as sample
from jsonschema import Draft202012Validator, ValidationError

from castq.core.cautions import BANNER
from castq.report.exports import (
    comparison_to_dict,
    rounded,
    safe_text,
    screening_to_dict,
    table_columns,
    zone_table_csv,
    zone_table_xlsx,
)
from castq.report.vti import npz_bytes, vti_bytes
from castq.screening.columns import COLUMNS

FORMULAS = (
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    "\t=1+1",
    "\r=1+1",
    "  =1+1",
    "＝1+1",
    "＋1",
    "－1",
    "＠x",
    "\n=cmd|' /C calc'!A0",
)


def schema(name: str) -> dict:
    return json.loads(files("castq.report").joinpath(f"schemas/{name}.schema.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def fields():
    return sample.wheel_fields(6.0)


def test_documents_are_valid_against_their_schemas() -> None:
    for name, document in (
        ("screen", screening_to_dict(sample.screening())),
        ("compare", comparison_to_dict(sample.comparison())),
    ):
        Draft202012Validator.check_schema(schema(name))
        Draft202012Validator(schema(name)).validate(json.loads(json.dumps(document, allow_nan=False)))


@pytest.mark.parametrize("change", [{"extra": 1}, {"verdict": "fine"}, {"schema_version": "0"}, {"cautions": []}])
def test_the_schema_refuses_what_is_not_documented(change: dict) -> None:
    document = {**screening_to_dict(sample.screening()), **change}
    with pytest.raises(ValidationError):
        Draft202012Validator(schema("screen")).validate(document)


def test_the_schema_names_every_column_of_the_zone_table() -> None:
    zone = schema("screen")["properties"]["zones"]["items"]
    assert set(zone["properties"]) == set(table_columns()) == set(zone["required"])
    assert len(table_columns()) == len(COLUMNS) + 2 * sum(c.predicted for c in COLUMNS)


def test_missing_numbers_become_null_and_none_is_lost() -> None:
    document = screening_to_dict(sample.screening())
    hub = document["zones"][0]
    assert hub["zone"] == "hub"
    assert hub["feeding_margin"] is None
    assert hub["volume_cm3"] == 690.0
    assert rounded(123456.789) == 123457.0
    assert rounded(float("inf")) is None
    assert document["provenance"]["seed"] == 20
    assert document["provenance"]["inputs"][0]["sha256"] == "9f2c" * 16
    assert document["cautions"][0] == BANNER


def test_the_document_is_the_same_for_the_same_result() -> None:
    texts = {json.dumps(screening_to_dict(sample.screening()), ensure_ascii=False) for _ in range(2)}
    assert len(texts) == 1


def with_zone_names(names: tuple[str, ...]):
    base = sample.screening()
    zones = base.zones.copy()
    zones["zone"] = [names[i % len(names)] for i in range(len(zones))]
    return replace(base, zones=zones)


@pytest.mark.parametrize("text", FORMULAS)
def test_text_never_becomes_a_formula(text: str) -> None:
    result = replace(with_zone_names((text,)), warnings=(text,))
    cell = list(csv.reader(io.StringIO(zone_table_csv(result))))[1][0]
    assert cell == safe_text(text)
    assert cell.startswith("'")
    assert cell[1:] == " ".join(text.split())
    book = openpyxl.load_workbook(io.BytesIO(zone_table_xlsx(result)))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert not [cell for cell in cells if cell.data_type == "f"]
    assert book["zones"]["A2"].value == " ".join(text.split())


@pytest.mark.parametrize("text", ["hub", "spoke-rim junction", "1", "zone = 3", "Größe"])
def test_ordinary_text_is_left_alone(text: str) -> None:
    assert safe_text(text) == text


def test_csv_numbers_stay_numbers() -> None:
    base = sample.screening()
    result = replace(base, zones=base.zones.assign(niyama=-1.5))
    rows = list(csv.DictReader(io.StringIO(zone_table_csv(result))))
    assert rows[0]["niyama"] == "-1.5"
    assert rows[0]["feeding_margin"] == ""
    assert float(rows[4]["porosity_pct"]) == pytest.approx(float(base.zones["porosity_pct"][4]), rel=1e-5)
    assert rows[0].keys() == dict.fromkeys(table_columns()).keys()


def test_workbook_has_numbers_as_numbers_and_the_cautions() -> None:
    content = zone_table_xlsx(sample.screening())
    assert content == zone_table_xlsx(sample.screening())
    book = openpyxl.load_workbook(io.BytesIO(content))
    assert book.sheetnames == ["zones", "checks", "notes"]
    assert book["zones"]["C2"].value == 690
    assert book["zones"]["C1"].value == "volume_cm3"
    assert BANNER in [row[1].value for row in book["notes"].iter_rows()]
    assert book["checks"].max_row == 1 + len(sample.screening().checks)
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert {item.date_time for item in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def read_vti(content: bytes) -> tuple[dict[str, str], dict[str, np.ndarray]]:
    """An own reader, written from the format's description."""
    head, rest = content.split(b'<AppendedData encoding="raw">\n_', 1)
    dom = minidom.parseString(head + b"</VTKFile>")
    image = dom.getElementsByTagName("ImageData")[0]
    nx, ny, nz = (int(v) for v in image.getAttribute("WholeExtent").split()[1::2])
    arrays = {}
    for entry in dom.getElementsByTagName("DataArray"):
        start = int(entry.getAttribute("offset"))
        count, size, last = struct.unpack_from("<3Q", rest, start)
        sizes = struct.unpack_from(f"<{count}Q", rest, start + 24)
        at, raw = start + 24 + 8 * count, b""
        for i, length in enumerate(sizes):
            block = zlib.decompress(rest[at : at + length])
            assert len(block) == (last if last and i == count - 1 else size)
            raw += block
            at += length
        kind = {"Float32": "<f4", "Int8": "<i1"}[entry.getAttribute("type")]
        arrays[entry.getAttribute("Name")] = np.frombuffer(raw, kind).reshape(nz, ny, nx).transpose(2, 1, 0)
    return dict(image.attributes.items()), arrays


@pytest.mark.parametrize("spacing_mm", [6.0, 3.0])
def test_vti_reads_back_to_the_digits_it_is_written_with(spacing_mm: float) -> None:
    fields = sample.wheel_fields(spacing_mm)
    image, arrays = read_vti(vti_bytes(fields))
    assert [float(v) for v in image["Spacing"].split()] == [spacing_mm] * 3
    assert [float(v) for v in image["Origin"].split()] == pytest.approx(fields.grid.origin_mm)
    np.testing.assert_array_equal(arrays["zone_code"], fields.zone_codes)
    np.testing.assert_array_equal(arrays["metal_share"], fields.grid.fraction)
    for name, values in fields.fields.items():
        np.testing.assert_allclose(arrays[name], values, rtol=1.0 / 2000.0, atol=0.0)


def test_npz_reads_back_without_pickle(fields) -> None:
    content = npz_bytes(fields)
    with np.load(io.BytesIO(content), allow_pickle=False) as archive:
        field = np.full(archive["shape"], np.nan)
        field.ravel()[archive["cells"]] = archive["sdas_um"]
        np.testing.assert_allclose(field, fields.fields["sdas_um"], rtol=1.0 / 2000.0, atol=0.0)
        assert float(archive["spacing_mm"]) == 6.0
        assert "sdas_um [um]" in archive["field_units"]
        assert len(archive["faces"]) == len(fields.mesh.faces)
    assert content == npz_bytes(fields)

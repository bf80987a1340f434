"""Records of the melt desk go into a log book and come back the same."""

from __future__ import annotations

import json
from datetime import datetime, timedelta, timezone

import pytest

from castq.core.errors import InputError
from castq.melt.records import happened_at, kind_of, payload_of, record_of
from castq.melt.types import Addition, Air, DensityPair, HydrogenReading, Kinetics, Sample, Treatment

AT = datetime(2026, 3, 5, 14, 10, tzinfo=timezone(timedelta(hours=1)))
SAMPLE = Sample(AT, "2", "AlSi7Mg", 720.0, (DensityPair(2.65, 2.5, 80.0), DensityPair(2.66, 2.55, 100.0)),
                (HydrogenReading(0.14, alloy_factor=0.9),), "M", "holding", "skimmed")  # fmt: skip
RECORDS = [
    ("sample", SAMPLE),
    ("sample", Sample(AT, "2", "AlSi7Mg", 720.0)),
    ("treatment", Treatment("2", AT, 8.0, gas="", speed_rpm=450.0)),
    ("addition", Addition(AT, "2", "strontium", 1.2, None)),
    ("air", Air(25.0, dew_point_c=18.0)),
    ("calibration", Kinetics(0.1, 0.2, 0.05, 0.01, 0.002, "spring", 12, -0.4)),
]


@pytest.mark.parametrize(("kind", "record"), RECORDS)
def test_a_record_comes_back_the_same(kind: str, record) -> None:
    payload = json.loads(json.dumps(payload_of(record), sort_keys=True))
    assert kind_of(record) == kind and record_of(kind, payload, AT) == record
    assert happened_at(record) == (AT if kind in {"sample", "treatment", "addition"} else None)
    assert "kind" not in payload and str(AT.year) not in json.dumps(payload)


def test_whole_numbers_are_numbers() -> None:
    found = record_of("air", {"air_temp_c": 25, "relative_humidity_pct": None}, AT)
    assert found == Air(25.0) and type(found.air_temp_c) is float


@pytest.mark.parametrize(
    ("kind", "payload", "words"),
    [
        ("release", {}, "kind: 'release' has no record"),
        ("air", {}, "air, air_temp_c: is missing"),
        ("air", {"air_temp_c": "25"}, "air_temp_c: cannot be '25'"),
        ("air", {"air_temp_c": True}, "air_temp_c: cannot be True"),
        ("air", {"air_temp_c": 25.0, "wind": 3}, "wind: is not known to this version of castq"),
        ("addition", {"furnace": "2", "added": "salt", "amount_kg": 1.0, "reaches": None}, "added: cannot be 'salt'"),
        ("calibration", payload_of(RECORDS[5][1]) | {"points": 2.5}, "points: cannot be 2.5"),
        ("sample", payload_of(SAMPLE) | {"pairs": 3}, "pairs: is not a list"),
        ("sample", payload_of(SAMPLE) | {"pairs": [3]}, "sample, pairs: holds no names with values"),
        ("sample", payload_of(SAMPLE) | {"furnace": None}, "furnace: cannot be None"),
    ],
)
def test_a_payload_that_is_no_record_is_refused(kind: str, payload: dict, words: str) -> None:
    with pytest.raises(InputError) as caught:
        record_of(kind, payload, AT)
    assert words in str(caught.value) and "\n" not in str(caught.value)

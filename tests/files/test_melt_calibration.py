"""A calibration file comes back as it was written, and not at all once it has been altered."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import pytest

from castq.core.errors import InputError
from castq.files.melt_calibration import kinetics_hash, read_calibration, write_calibration
from castq.melt.fit import Run, fit_kinetics
from castq.melt.types import Kinetics

FITTED = Kinetics(
    0.2134567890123, 0.21, 0.071, 0.006, 0.005,
    name='F1 "spring"', points=24, rate_floor_correlation=-0.4, furnace="F1", rotor="R3 β",
)  # fmt: skip


def test_round_trip_keeps_every_digit(tmp_path: Path) -> None:
    path = tmp_path / "f1.toml"
    digest = write_calibration(path, FITTED)
    assert read_calibration(path) == FITTED
    assert digest == kinetics_hash(read_calibration(path))
    assert f'sha256 = "{digest}"' in path.read_text(encoding="utf-8")


def test_warnings_of_the_fit_stand_in_the_head(tmp_path: Path) -> None:
    result = fit_kinetics([Run("T1", (0.0, 8.0), (0.3, 0.12))], furnace="F2")
    write_calibration(tmp_path / "f2.toml", result)
    text = (tmp_path / "f2.toml").read_text(encoding="utf-8")
    assert "# Fewer than three points" in text
    assert read_calibration(tmp_path / "f2.toml") == result.kinetics


def test_an_existing_file_is_kept_unless_told(tmp_path: Path) -> None:
    path = tmp_path / "f1.toml"
    write_calibration(path, FITTED)
    other = Kinetics(**{**asdict(FITTED), "rate_per_min": 0.3})
    with pytest.raises(InputError, match="there already"):
        write_calibration(path, other)
    assert read_calibration(path) == FITTED
    write_calibration(path, other, force=True)
    assert read_calibration(path) == other


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("rate_per_min = 0.2134567890123", "rate_per_min = 0.2134567890124", "was altered"),
        ("points = 24", "points = 25", "was altered"),
        ('furnace = "F1"', 'furnace = "F2"', "was altered"),
        ("rate_per_min = 0.2134567890123", "rate_per_min = 213.0", "out of range"),
        ("points = 24\n", "", "points: is missing"),
        ("points = 24\n", "points = 24\nspeed = 3\n", "not a key"),
        ("rate_per_min = 0.2134567890123", 'rate_per_min = "0.2"', "a plain number"),
        ("rate_per_min", "[rate", "line"),
    ],
)
def test_an_altered_file_is_refused(tmp_path: Path, old: str, new: str, words: str) -> None:
    path = tmp_path / "f1.toml"
    write_calibration(path, FITTED)
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError, match=words):
        read_calibration(path)


def test_what_is_no_calibration_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_calibration(tmp_path / "none.toml")
    (tmp_path / "big.toml").write_bytes(b"#" * 100_000)
    with pytest.raises(InputError, match="too large"):
        read_calibration(tmp_path / "big.toml")

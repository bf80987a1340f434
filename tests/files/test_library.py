"""The library of screened designs: what is kept comes back, nothing is overwritten, what is damaged is named."""

from __future__ import annotations

import errno
import json
import os
import random
import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from functools import cache
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from castq.core.errors import InputError
from castq.files import library
from castq.files.library import check_folder, designs, inputs_hash, keep
from castq.files.library_read import seal
from castq.melt.designs import LEVELS, level_of
from castq.screening.screen import screen
from castq.screening.types import Calibration, Limit, Screening
from tests.cli.run import castq
from tests.screening.cases import tool, wheel

LIMITS = (Limit("hub", "porosity_pct", "<=", 0.8, False), Limit("spoke", "porosity_pct", "<=", 0.5, False))
NOON = datetime(2026, 5, 4, 12, 0, tzinfo=timezone(timedelta(hours=2)))
SCHEMA = json.loads(files("castq.files").joinpath("schemas/design.schema.json").read_text(encoding="utf-8"))


@cache
def screened(name: str = "Wheel 17, five spokes", spoke: float = 18.0) -> Screening:
    return screen(wheel(name=name, spoke=spoke, limits=LIMITS), draws=128)


def named(name: str) -> Screening:
    base = screened()
    return replace(base, case=replace(base.case, name=name))


def at(hours: float):
    return lambda: NOON + timedelta(hours=hours)


def test_what_is_kept_comes_back_and_follows_its_schema(tmp_path: Path) -> None:
    result = screened()
    path = keep(tmp_path / "lib", result, clock=at(0))
    assert path.name == "design-wheel-17-five-spokes.json"
    Draft202012Validator.check_schema(SCHEMA)
    Draft202012Validator(SCHEMA).validate(json.loads(path.read_text(encoding="utf-8")))
    (kept,) = designs(tmp_path / "lib")
    assert (kept.name, kept.alloy, kept.kept_at) == ("Wheel 17, five spokes", "AlSi7Mg0.3", NOON)
    assert (kept.verdict, kept.depth, kept.seed, kept.draws) == (result.verdict, "section", 1, 128)
    assert (kept.hydrogen_ml_100g, kept.strontium_ppm, kept.cleanliness) == (0.12, 150.0, 1.0)
    assert [zone.zone for zone in kept.zones] == ["hub", "spoke"]
    for probability in (0.5, 0.9, 0.95):
        assert kept.stands(probability) == pytest.approx(result.hydrogen_room.at(probability), rel=1e-5)
        assert kept.decides(probability).zone == result.hydrogen_room.deciding((probability,))[0]
        for own, zone in zip(result.hydrogen_room.zones, kept.zones, strict=True):
            assert zone.stands(probability) == pytest.approx(own.at(probability), rel=1e-5)
    assert len(kept.quantiles_ml_100g) == LEVELS


def test_between_two_levels_the_safer_one_counts() -> None:
    assert [level_of(sure) for sure in (1.0, 0.995, 0.99, 0.905, 0.9, 0.5)] == [0, 0, 1, 9, 10, 50]


def test_the_newest_of_a_name_counts_and_the_older_ones_stay_with_their_number(tmp_path: Path) -> None:
    paths = [keep(tmp_path, screened(spoke=spoke), clock=at(hour)) for spoke, hour in ((18.0, 1), (22.0, 5), (14.0, 3))]
    assert [path.name for path in paths] == [
        "design-wheel-17-five-spokes.json", "design-wheel-17-five-spokes.2.json", "design-wheel-17-five-spokes.3.json",
    ]  # fmt: skip
    found = designs(tmp_path)
    assert [kept.file for kept in found.designs] == [paths[1].name]
    assert sorted(kept.file for kept in found.older) == sorted([paths[0].name, paths[2].name])


def test_a_number_that_was_freed_is_not_taken_again_below_a_newer_one(tmp_path: Path) -> None:
    first, second = (keep(tmp_path, screened(), clock=at(hour)) for hour in (1, 2))
    first.unlink()
    assert keep(tmp_path, screened(), clock=at(3)).name == "design-wheel-17-five-spokes.3.json"
    assert second.exists()


def test_many_who_keep_one_design_at_once_lose_none(tmp_path: Path) -> None:
    results = [named("one design") for _ in range(8)]
    threads = [threading.Thread(target=keep, args=(tmp_path, result)) for result in results]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    found = designs(tmp_path)
    assert len(found.designs) == 1 and len(found.older) == 7 and not found.refused
    assert not [name for name in os.listdir(tmp_path) if name.startswith(".castq")]


HOSTILE = ["../../etc/passwd", "CON", "..", "", "   ", "a" * 900, "Rad №5 Große Felge", "=cmd|' /C calc'!A0",
           "a\x00b\nc", "<script>alert(1)</script>", "🛞", "\udcff",
           "-rf *", ".hidden", "wheel.2.json", "C:\\x"]  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_stays_in_the_folder_and_can_be_read_again(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "lib"
    path = keep(folder, named(name))
    assert path.parent == folder and len(path.name) < 80
    assert path.name.isascii() and path.name.startswith("design-") and sorted(os.listdir(tmp_path)) == ["lib"]
    (kept,) = designs(folder)
    assert kept.name.isprintable() and 0 < len(kept.name) <= 200
    assert keep(folder, named(name)) != path


def test_names_that_share_a_file_name_are_still_two_designs(tmp_path: Path) -> None:
    for name in ("Wheel A!", "wheel-a"):
        keep(tmp_path, named(name))
    assert {kept.name for kept in designs(tmp_path)} == {"Wheel A!", "wheel-a"}


def sealed_anew(document: dict, how: str) -> bytes:
    """A file that is wrong in itself but carries the right hash of its content."""
    zone = document["zones"][0]
    zone["quantiles_ml_100g"] = {
        "falling": zone["quantiles_ml_100g"][::-1], "not a number": ["0.1"] * LEVELS, "none, no reason": [],
    }.get(how, zone["quantiles_ml_100g"])  # fmt: skip
    changes: dict[str, object] = {
        "too few": {"quantiles_ml_100g": [0.1, 0.2]}, "no time zone": {"kept_at": "2026-05-04T12:00:00"},
        "wrong kinds": {"zones": [1], "name": [], "melt": "no", "seed": None}, "no strontium": {"melt": {}},
        "place beyond": {"deciding": [7] * LEVELS}, "no levels": {"deciding": []},
    }.get(how, {})  # fmt: skip
    changed = document | changes
    if how == "no zones":
        del changed["zones"]
    return json.dumps(changed | {"content_sha256": seal(changed)}).encode()


SEALED = ("falling", "not a number", "none, no reason", "too few", "no time zone", "wrong kinds", "no strontium",
          "place beyond", "no levels", "no zones")  # fmt: skip


@pytest.mark.parametrize("how", SEALED)
def test_a_file_that_is_wrong_in_itself_is_refused_whatever_its_hash_says(tmp_path: Path, how: str) -> None:
    good, bad = keep(tmp_path, screened()), keep(tmp_path, named("spoilt"))
    bad.write_bytes(sealed_anew(json.loads(bad.read_bytes()), how))
    found = designs(tmp_path)
    assert [kept.file for kept in found] == [good.name]
    assert [fault.source for fault in found.refused] == [bad.name]


def test_a_file_sealed_anew_without_a_fault_is_read(tmp_path: Path) -> None:
    path = keep(tmp_path, screened())
    before = designs(tmp_path).designs
    path.write_bytes(sealed_anew(json.loads(path.read_bytes()), "nothing"))
    assert designs(tmp_path).designs == before


def damaged(data: bytes, how: str) -> bytes:
    document = json.loads(data)
    return {
        "cut": data[: len(data) // 2], "empty": b"", "not text": b"\xff\xfe\x00" * 40, "a list": b"[1, 2]",
        "number": b"3", "nested": b"[" * 100_000, "long number": b'{"seed": ' + b"9" * 6000 + b"}",
        "other kind": json.dumps({"schema": "something else"}).encode(), "not a number": b'{"schema": NaN}',
        "newer form": json.dumps(document | {"schema_version": "2.0"}).encode(),
        "version is a list": json.dumps(document | {"schema_version": [1]}).encode(),
        "altered": data.replace(b'"limit_pct": 0.5', b'"limit_pct": 0.9'),
        "too large": b" " * 2_000_001,
    }[how]  # fmt: skip


@pytest.mark.parametrize(
    "how",
    ["cut", "empty", "not text", "a list", "number", "nested", "long number", "other kind", "not a number",
     "newer form", "version is a list", "altered", "too large"],
)  # fmt: skip
def test_a_damaged_file_is_refused_by_name_and_hides_no_other(tmp_path: Path, how: str) -> None:
    good, bad = keep(tmp_path, screened()), keep(tmp_path, named("spoilt"))
    bad.write_bytes(damaged(bad.read_bytes(), how))
    found = designs(tmp_path)
    assert [kept.file for kept in found] == [good.name]
    (fault,) = found.refused
    assert fault.source == bad.name and fault.found and fault.mend
    assert "Traceback" not in str(fault) and len(str(fault)) < 700


def test_every_altered_byte_is_found(tmp_path: Path) -> None:
    path = keep(tmp_path, screened())
    data = path.read_bytes()
    whole = designs(tmp_path).designs[0]
    chance = random.Random(5)
    for place in chance.sample(range(len(data)), 150):
        path.write_bytes(data[:place] + bytes([data[place] ^ (1 << chance.randrange(7))]) + data[place + 1 :])
        found = designs(tmp_path)
        assert found.refused or found.designs[0] == whole  # a blank for another blank changes nothing


def test_what_is_no_file_of_the_library_is_left_alone_or_named(tmp_path: Path) -> None:
    keep(tmp_path, screened())
    (tmp_path / "notes.txt").write_text("mine")
    (tmp_path / ".castq-123.json").write_text("half")
    (tmp_path / "folder.json").mkdir()
    os.mkfifo(tmp_path / "pipe.json")
    found = designs(tmp_path)
    assert len(found) == 1
    assert sorted(fault.source for fault in found.refused) == ["folder.json", "pipe.json"]


@pytest.mark.parametrize("place", ["missing", "file", "missing/inside", "bad\x00name", "a" * 300])
def test_a_folder_that_cannot_be_is_refused_in_one_sentence(tmp_path: Path, place: str) -> None:
    (tmp_path / "file").write_text("x")
    folder = tmp_path / place
    with pytest.raises(InputError):
        designs(folder)
    if place != "missing":
        with pytest.raises(InputError):
            check_folder(folder)
            keep(folder, screened())
    assert sorted(os.listdir(tmp_path)) == ["file"]


def test_a_full_disk_leaves_the_library_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    keep(tmp_path, screened())
    before = sorted(os.listdir(tmp_path))

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(library.os, "link", full)
    with pytest.raises(InputError, match="No space left"):
        keep(tmp_path, screened())
    assert sorted(os.listdir(tmp_path)) == before


def test_the_hash_of_the_inputs_moves_with_every_input_and_with_nothing_else() -> None:
    base = screened()
    same = screen(wheel(name="another name", limits=LIMITS), draws=128)
    assert inputs_hash(base) == inputs_hash(same)
    others = [
        screen(wheel(spoke=18.1, limits=LIMITS), draws=128), screen(wheel(limits=LIMITS[:1]), draws=128),
        screen(wheel(limits=LIMITS), draws=128, seed=2), screen(wheel(limits=LIMITS), draws=64),
        screen(wheel(limits=LIMITS, tool=tool(hold_pressure_bar=0.7)), draws=128),
        screen(wheel(limits=LIMITS, calibration=Calibration("plant", porosity_factor=1.2)), draws=128),
    ]  # fmt: skip
    assert len({inputs_hash(result) for result in (base, *others)}) == 7


def test_a_design_without_a_limit_or_with_a_zone_not_decided_is_kept_all_the_same(tmp_path: Path) -> None:
    hot = dict.fromkeys(wheel().tool.die_temp_c, 350.0) | {"hub": 545.0}
    keep(tmp_path, screen(wheel(name="no limit", limits=()), draws=16))
    keep(tmp_path, screen(wheel(name="hot hub", limits=LIMITS, tool=tool(die_temp_c=hot)), draws=64))
    keep(tmp_path, screen(wheel(name="hot hub only", limits=LIMITS[:1], tool=tool(die_temp_c=hot)), draws=64))
    hub, only, none = designs(tmp_path)
    assert [zone.undecided != "" for zone in hub.zones] == [True, False] and hub.decides(0.9).zone == "spoke"
    assert only.zones[0].undecided and np.isnan(only.stands(0.9)) and only.decides(0.9) is None
    assert none.zones == () and np.isnan(none.stands(0.9))
    for path in tmp_path.iterdir():
        Draft202012Validator(SCHEMA).validate(json.loads(path.read_text(encoding="utf-8")))


def test_the_screen_command_keeps_a_design_and_refuses_a_bad_folder_before_the_work(tmp_path: Path) -> None:
    sections = tmp_path / "wheel.csv"
    sections.write_text("zone,role,section,feeds_from\nhub,hub,34 mm,gate\nspoke,spoke,18 mm,hub\n")
    said = castq("screen", sections, "--alloy", "AlSi7Mg0.3", "--json", "--keep", tmp_path / "castq-designs")
    assert said.code in (0, 1), said.err
    assert "kept: " in said.err and json.loads(said.out)["hydrogen_room"]["zones"]
    (kept,) = designs(tmp_path / "castq-designs")
    assert kept.alloy == "AlSi7Mg0.3" and kept.kept_at <= datetime.now(UTC)
    said = castq("screen", sections, "--alloy", "AlSi7Mg0.3", "--keep", sections)
    assert said.code == 2 and "not a folder" in said.err and not (tmp_path / "wheel-screening").exists()


def test_a_screening_that_says_nothing_of_hydrogen_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="screen it again"):
        keep(tmp_path / "lib", replace(screened(), hydrogen_room=None))
    assert not (tmp_path / "lib").exists()


def test_two_hundred_designs_are_read_in_less_than_half_a_second(tmp_path: Path) -> None:
    import time

    data = keep(tmp_path, screened()).read_bytes()
    for number in range(200):
        document = json.loads(data) | {"name": f"design {number}"}
        (tmp_path / f"design-{number}.json").write_text(json.dumps(document | {"content_sha256": seal(document)}))
    began = time.process_time()
    assert len(designs(tmp_path)) == 201
    assert time.process_time() - began < 0.5

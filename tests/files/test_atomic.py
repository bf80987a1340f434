"""Output folders and files: whole or not at all, never over an input."""

from __future__ import annotations

import errno
import hashlib
import os
from pathlib import Path

import pytest

from castq.core.errors import InputError
from castq.files.atomic import sha256_of, staged_folder, write_bytes, write_text


def names(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def test_a_folder_appears_with_everything_in_it(tmp_path: Path) -> None:
    with staged_folder(tmp_path / "out") as stage:
        (stage / "figures").mkdir()
        (stage / "figures" / "a.png").write_bytes(b"a")
        (stage / "report.html").write_text("r")
        assert not (tmp_path / "out").exists()
    assert names(tmp_path) == ["out", "out/figures", "out/figures/a.png", "out/report.html"]


def test_a_failing_block_leaves_nothing_behind(tmp_path: Path) -> None:
    with pytest.raises(ZeroDivisionError), staged_folder(tmp_path / "out") as stage:
        (stage / "half.html").write_text("half")
        _ = 1 / 0
    assert names(tmp_path) == []


def test_an_interrupt_leaves_an_earlier_report_as_it_was(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "report.html").write_text("first")
    with pytest.raises(KeyboardInterrupt), staged_folder(tmp_path / "out", force=True) as stage:
        (stage / "report.html").write_text("second")
        raise KeyboardInterrupt
    assert (tmp_path / "out" / "report.html").read_text() == "first"
    assert names(tmp_path) == ["out", "out/report.html"]


def test_a_full_disk_is_one_sentence_and_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"cannot be written .*No space left"), staged_folder(tmp_path / "out"):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    assert names(tmp_path) == []


def test_another_os_error_of_the_block_stays_what_it_is(tmp_path: Path) -> None:
    with pytest.raises(ConnectionResetError), staged_folder(tmp_path / "out"):
        raise ConnectionResetError(errno.ECONNRESET, "reset")
    assert names(tmp_path) == []


def test_an_empty_folder_is_used(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    with staged_folder(tmp_path / "out") as stage:
        (stage / "a").write_text("a")
    assert names(tmp_path) == ["out", "out/a"]


def test_a_filled_folder_needs_force_and_keeps_foreign_files(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "mine.txt").write_text("mine")
    (out / "report.html").write_text("old")
    with pytest.raises(InputError, match=r"holds files already; .*--force"), staged_folder(out):
        pytest.fail("the block must not run")
    with staged_folder(out, force=True) as stage:
        (stage / "report.html").write_text("new")
        (stage / "sub").mkdir()
        (stage / "sub" / "b").write_text("b")
    assert (out / "mine.txt").read_text() == "mine"
    assert (out / "report.html").read_text() == "new"
    assert names(tmp_path) == ["out", "out/mine.txt", "out/report.html", "out/sub", "out/sub/b"]


def test_an_input_is_never_replaced(tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    case.write_text("case")
    other = tmp_path / "zones.csv"
    other.write_text("old zones")
    with pytest.raises(InputError, match="is an input and would be replaced"):
        with staged_folder(tmp_path, force=True, inputs=[tmp_path / "." / "case.toml"]) as stage:
            (stage / "case.toml").write_text("report")
            (stage / "zones.csv").write_text("new zones")
    assert case.read_text() == "case" and other.read_text() == "old zones"


@pytest.mark.parametrize(("there", "made"), [("a", "a/b"), ("a/b/c", "a/b")])
def test_a_file_never_takes_the_place_of_a_folder_or_the_other_way(tmp_path: Path, there: str, made: str) -> None:
    out = tmp_path / "out"
    for root, name in ((out, there),):
        (root / name).parent.mkdir(parents=True)
        (root / name).write_text("old")
    with pytest.raises(InputError, match="of another kind"), staged_folder(out, force=True) as stage:
        (stage / made).parent.mkdir(parents=True, exist_ok=True)
        (stage / made).write_text("new")
    assert (out / there).read_text() == "old"


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ("file.txt", "is a file; name a folder"),
        ("missing/out", "does not exist; make it first"),
        ("n" * 300, "cannot be written (File name too long)"),
        ("a\0b", "is not a file name"),
        ("file.txt/out", "cannot be written (Not a directory)"),
    ],
)
def test_an_impossible_place_is_refused_before_any_work(tmp_path: Path, place: str, said: str) -> None:
    (tmp_path / "file.txt").write_text("keep")
    with pytest.raises(InputError) as caught, staged_folder(tmp_path / place):
        pytest.fail("the block must not run")
    assert said in str(caught.value)
    assert names(tmp_path) == ["file.txt"] and (tmp_path / "file.txt").read_text() == "keep"


@pytest.mark.parametrize("locked", ["parent", "out"])
def test_a_read_only_place_is_refused(tmp_path: Path, locked: str, monkeypatch: pytest.MonkeyPatch) -> None:
    # Root may write anywhere, so the answer of the system is put in by hand.
    out = tmp_path / "out"
    out.mkdir()
    shut = {"parent": tmp_path, "out": out}[locked]
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != shut)
    with pytest.raises(InputError, match="is read-only; choose another place"), staged_folder(out):
        pytest.fail("the block must not run")
    assert names(tmp_path) == ["out"]


def test_a_link_to_a_folder_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with staged_folder(tmp_path / "link") as stage:
        (stage / "a").write_text("a")
    assert (tmp_path / "link").is_symlink() and (tmp_path / "real" / "a").read_text() == "a"


def test_files_are_written_whole_and_replaced_only_with_force(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    write_text(path, "µm\n")
    assert path.read_bytes() == "µm\n".encode()
    with pytest.raises(InputError, match=r"is there already; .*--force"):
        write_bytes(path, b"x")
    write_bytes(path, b"x", force=True)
    assert path.read_bytes() == b"x" and names(tmp_path) == ["a.csv"]


def test_a_failed_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.csv"
    write_text(path, "old")

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="No space left"):
        write_text(path, "new", force=True)
    assert path.read_text() == "old" and names(tmp_path) == ["a.csv"]


@pytest.mark.parametrize(
    ("place", "said"), [("folder", "is a folder"), ("no/a.csv", "does not exist"), ("n" * 300, "File name too long")]
)
def test_a_file_in_an_impossible_place_is_refused(tmp_path: Path, place: str, said: str) -> None:
    (tmp_path / "folder").mkdir()
    with pytest.raises(InputError, match=said):
        write_bytes(tmp_path / place, b"x", force=True)
    assert names(tmp_path) == ["folder"]


def test_sha256_of_a_file(tmp_path: Path) -> None:
    data = b"wheel" * 500_000
    (tmp_path / "w.stl").write_bytes(data)
    found = sha256_of(tmp_path / "w.stl")
    assert (found.name, found.size_bytes, found.sha256) == ("w.stl", len(data), hashlib.sha256(data).hexdigest())
    with pytest.raises(InputError, match="cannot be read"):
        sha256_of(tmp_path / "none")

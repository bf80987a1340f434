"""Writing that never leaves half a file: everything is finished beside its place and moved in at the end."""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
import shutil
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from castq.core.errors import InputError, input_error
from castq.screening.types import InputFile

_READ_BYTES = 1 << 20
# Name of what is still being written, beside the place it will take.
_PREFIX = ".castq-"


def write_bytes(path: Path, data: bytes, *, force: bool = False) -> None:
    """Write a file whole or not at all.

    Parameters
    ----------
    path : Path
        The file.
    data : bytes
        Its content.
    force : bool
        True to replace a file that is there.

    Raises
    ------
    InputError
        If it cannot be written there, or is there already and `force` is not given.
    """
    _check_place(path)
    if path.is_dir():
        raise _refused(path, "is a folder", "name a file")
    if path.exists() and not force:
        raise _refused(path, "is there already", "choose another name, or give --force to replace it")
    temporary = path.parent / (_PREFIX + secrets.token_hex(6))
    try:
        with temporary.open("xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.replace(path)
        sync_folder(path.parent)
    except OSError as exc:
        raise _cannot(path, exc) from exc
    finally:
        temporary.unlink(missing_ok=True)


def write_text(path: Path, text: str, *, force: bool = False) -> None:
    """Write a text file (UTF-8, line feeds) whole or not at all; see `write_bytes`."""
    write_bytes(path, text.encode("utf-8"), force=force)


@contextmanager
def staged_folder(out: Path, *, force: bool = False, inputs: Iterable[Path] = ()) -> Iterator[Path]:
    """Give a new folder to write into; its content moves to `out` only if the block ends well.

    Parameters
    ----------
    out : Path
        Where the content is to stand in the end. Its parent folder must exist.
    force : bool
        True to write into a folder that holds files already: those of the same name are replaced, others stay.
    inputs : iterable of Path
        Files that are read: none of them is ever replaced.

    Raises
    ------
    InputError
        Before the block when `out` cannot be used, after it when an input would be replaced or a disk is full.
    """
    out = check_out(out, force)
    stage = out.parent / (_PREFIX + secrets.token_hex(6))
    try:
        stage.mkdir()
    except OSError as exc:
        raise _cannot(out, exc) from exc
    try:
        yield stage
        _move_in(stage, out, {path.resolve() for path in inputs})
    except OSError as exc:
        if exc.errno in {errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EACCES, errno.EPERM}:
            raise _cannot(out, exc) from exc
        raise
    finally:
        shutil.rmtree(stage, ignore_errors=True)


def sha256_of(path: Path) -> InputFile:
    """Return name, sha256 and size of a file."""
    digest, size = hashlib.sha256(), 0
    try:
        with path.open("rb") as stream:
            while block := stream.read(_READ_BYTES):
                digest.update(block)
                size += len(block)
    except (OSError, ValueError) as exc:
        raise input_error(path.name, "", f"cannot be read ({exc})", "", f"check the path {path}") from exc
    return InputFile(path.name, digest.hexdigest(), size)


def _refused(path: Path, found: str, mend: str) -> InputError:
    return input_error(path, "", found, "", mend)


def _cannot(path: Path, exc: OSError) -> InputError:
    reason = exc.strerror or type(exc).__name__
    return input_error(path, "", f"cannot be written ({reason})", "", "choose another place, or free it")


def _check_place(path: Path) -> None:
    """Refuse a place that cannot be: no parent folder, no right to write, a name no disk takes."""
    try:
        os.lstat(path)
    except FileNotFoundError:
        pass
    except ValueError as exc:
        raise _refused(path, "is not a file name", "leave out control characters") from exc
    except OSError as exc:
        raise _cannot(path, exc) from exc
    if not path.parent.is_dir():
        raise _refused(path, f"the folder '{path.parent}' does not exist", "make it first, or choose another place")
    if not os.access(path.parent, os.W_OK | os.X_OK):
        raise _refused(path, f"the folder '{path.parent}' is read-only", "choose another place")


def check_out(out: Path, force: bool) -> Path:
    """Return the output folder as an absolute path, or refuse it; nothing is written.

    Parameters
    ----------
    out : Path
        Where a report is to stand.
    force : bool
        True when it may hold files already.

    Raises
    ------
    InputError
        If it is a file, read-only, holds files without `force`, or its parent folder is not there.
    """
    _check_place(out)
    out = out.resolve()
    if not out.exists():
        return out
    if not out.is_dir():
        raise _refused(out, "is a file", "name a folder")
    if not os.access(out, os.W_OK | os.X_OK):
        raise _refused(out, "is read-only", "choose another place")
    if any(out.iterdir()) and not force:
        raise _refused(out, "holds files already", "choose another folder, or give --force to write into it")
    return out


def _move_in(stage: Path, out: Path, inputs: set[Path]) -> None:
    """Move the finished content to its place: in one step when the place is free, else file by file."""
    files = [path.relative_to(stage) for path in sorted(stage.rglob("*")) if path.is_file()]
    for name in files:
        target = out / name
        if target.resolve() in inputs:
            raise _refused(target, "is an input and would be replaced", "choose another folder")
        blocked = [place for place in (target, *target.parents) if place != out and out in place.parents]
        if target.is_dir() or any(place.is_file() for place in blocked[1:]):
            raise _refused(target, "would take the place of something of another kind", "choose another folder")
    for name in files:
        _sync_file(stage / name)
    if not out.exists() or not any(out.iterdir()):
        stage.replace(out)
    else:
        for name in files:
            (out / name).parent.mkdir(parents=True, exist_ok=True)
            (stage / name).replace(out / name)
            sync_folder((out / name).parent)
    sync_folder(out.parent)


def _sync_file(path: Path) -> None:
    with path.open("rb") as stream:
        os.fsync(stream.fileno())


def sync_folder(path: Path) -> None:
    """Make what was moved into a folder last beyond a loss of power."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

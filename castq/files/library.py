"""The library of screened designs: a folder with one JSON file a design, written whole, never overwritten."""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from castq import __version__
from castq.core.clock import SYSTEM_CLOCK, WallClock
from castq.core.errors import Fault, InputError, input_error, plain
from castq.core.nomenclature import SCHEMA_VERSION
from castq.files.atomic import sync_folder, write_bytes
from castq.files.library_read import MAX_BYTES, SCHEMA, seal, unpack
from castq.files.source import read_source
from castq.melt.designs import LEVELS, KeptDesign

if TYPE_CHECKING:
    from castq.screening.room_records import HydrogenRoom, ZoneRoom
    from castq.screening.types import Screening

DEFAULT_FOLDER: Final = Path("castq-designs")
MOST_FILES: Final = 10_000
DIGITS: Final = 6
_PERCENT: Final = np.linspace(0.0, 100.0, LEVELS)
_NO_NAME: Final = "design without a name"


@dataclass(frozen=True, slots=True)
class Library:
    """What a folder of kept designs holds.

    Attributes
    ----------
    designs : tuple of KeptDesign
        The newest of each name, by name.
    older : tuple of KeptDesign
        Those that a newer one of the same name stands before.
    refused : tuple of Fault
        Files that are no kept design, and why.
    """

    designs: tuple[KeptDesign, ...]
    older: tuple[KeptDesign, ...]
    refused: tuple[Fault, ...]

    def __iter__(self) -> Iterator[KeptDesign]:
        return iter(self.designs)

    def __len__(self) -> int:
        return len(self.designs)


def keep(folder: Path, screening: Screening, *, clock: WallClock = SYSTEM_CLOCK) -> Path:
    """Keep a screened design, so that melts can be held against it later.

    Parameters
    ----------
    folder : Path
        The library; made when it is not there, its parent folder must be.
    screening : Screening
        The result.
    clock : WallClock
        The time it is kept at.

    Returns
    -------
    Path
        The file. A design of the same name that is there already stays; the new file gets the next number.

    Raises
    ------
    InputError
        If the folder cannot be used or the file not be written.
    """
    check_folder(folder)
    data = json.dumps(_document(screening, clock), ensure_ascii=False, allow_nan=False).encode("utf-8")
    stem = _stem(screening.case.name)
    unpack(data, f"{stem}.json")  # nothing is kept that could not be read again
    try:
        folder.mkdir(exist_ok=True)
    except OSError as exc:
        raise _cannot(folder, exc) from exc
    return _write_beside(folder, stem, data)


def check_folder(folder: Path) -> None:
    """Refuse a folder that designs cannot be kept in, before the work; nothing is written.

    Parameters
    ----------
    folder : Path
        The library.

    Raises
    ------
    InputError
        If it is a file, read-only, or its parent folder is not there.
    """
    try:
        os.lstat(folder)
    except (FileNotFoundError, NotADirectoryError):
        pass
    except (OSError, ValueError) as exc:
        raise input_error(plain(folder), "", "cannot be a folder", "", "choose another place") from exc
    there, inside = folder.exists(), folder.parent.is_dir()
    if there and not folder.is_dir():
        raise input_error(folder, "", "is a file, not a folder for designs", "", "name a folder")
    if not there and not inside:
        raise input_error(folder, "", "its parent folder does not exist", "", "make it first, or choose another place")
    if not os.access(folder if there else folder.parent, os.W_OK | os.X_OK):
        raise input_error(folder, "", "is read-only", "", "choose another place")


def designs(folder: Path = DEFAULT_FOLDER) -> Library:
    """Return the designs that a folder keeps; a file that is none never hides the others.

    Parameters
    ----------
    folder : Path
        The library.

    Returns
    -------
    Library
        The newest of each name, the older ones, and each refused file with its reason.

    Raises
    ------
    InputError
        If the folder is not there or cannot be read.
    """
    if not os.path.isdir(folder):
        raise input_error(folder, "", "there is no such folder of designs", "",
                          "keep one first: castq screen wheel.toml --keep " + plain(folder))  # fmt: skip
    try:
        names = sorted(name for name in os.listdir(folder) if name.lower().endswith(".json") and name[0] != ".")
    except OSError as exc:
        raise input_error(folder, "", f"cannot be read ({exc.strerror})", "", "check its permissions") from exc
    if len(names) > MOST_FILES:
        raise input_error(folder, "", f"holds {len(names):,} files", f"at most {MOST_FILES:,}", "move old ones away")
    read: list[KeptDesign] = []
    refused: list[Fault] = []
    for name in names:
        try:
            read.append(unpack(read_source(folder / name, MAX_BYTES).data, name))
        except InputError as exc:
            refused.append(exc.faults[0])
    read.sort(key=lambda kept: (kept.kept_at, number_of(kept.file)))
    newest = {kept.name: kept for kept in read}
    older = tuple(kept for kept in read if newest[kept.name] is not kept)
    return Library(tuple(newest[name] for name in sorted(newest)), older, tuple(refused))


def _stem(name: str) -> str:
    """Return the part of a file name that a design's name gives: plain letters and figures, whatever it holds."""
    words = re.findall(r"[a-z0-9]+", plain(name).lower())
    return "design-" + ("-".join(words)[:60].strip("-") or "unnamed")


def number_of(file: str) -> int:
    """Return the number in the name of a kept file; 1 when it has none."""
    found = re.search(r"\.(\d{1,9})\.json$", file)
    return int(found.group(1)) if found else 1


def _write_beside(folder: Path, stem: str, data: bytes) -> Path:
    """Write a new file with the next number: no file that is there is touched, whoever else is writing."""
    temporary = folder / f".castq-{secrets.token_hex(6)}"
    write_bytes(temporary, data)
    try:
        taken = [number_of(name) for name in os.listdir(folder) if re.fullmatch(rf"{stem}(\.\d{{1,9}})?\.json", name)]
        number = max(taken, default=0) + 1
        while True:
            path = folder / (f"{stem}.json" if number == 1 else f"{stem}.{number}.json")
            try:
                os.link(temporary, path)
            except FileExistsError:
                number += 1
                continue
            sync_folder(folder)
            return path
    except OSError as exc:
        raise _cannot(folder, exc) from exc
    finally:
        temporary.unlink(missing_ok=True)


def _cannot(folder: Path, exc: OSError) -> InputError:
    reason = exc.strerror or type(exc).__name__
    return input_error(folder, "", f"cannot be written to ({reason})", "", "choose another place, or free it")


def _document(screening: Screening, clock: WallClock) -> dict[str, Any]:
    """Return what the file holds, sealed with the hash of its own content."""
    case, room = screening.case, screening.hydrogen_room
    if room is None:
        raise input_error(plain(case.name), "", "its screening says nothing about hydrogen", "", "screen it again")
    decided = bool(room.decided)
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "schema_version": SCHEMA_VERSION,
        "name": plain(case.name) or _NO_NAME,
        "alloy": plain(case.alloy.id),
        "kept_at": clock().isoformat(),
        "castq_version": __version__,
        "depth": screening.depth,
        "verdict": screening.verdict,
        "seed": screening.seed,
        "draws": screening.draws,
        "melt": {"hydrogen_ml_100g": case.melt.hydrogen_ml_100g, "strontium_ppm": case.melt.strontium_ppm,
                 "cleanliness": case.melt.cleanliness},
        "inputs": [{"name": plain(i.name), "sha256": i.sha256, "size_bytes": i.size_bytes} for i in case.inputs],
        "inputs_sha256": inputs_hash(screening),
        "reaches_ml_100g": room.reaches_ml_100g,
        "quantiles_ml_100g": _quantiles(room.draws) if decided else [],
        "deciding": _deciding(room) if decided else [],
        "zones": [_zone(zone) for zone in room.zones],
    }  # fmt: skip
    if case.calibration.name:
        document["calibration"] = plain(case.calibration.name)
    return document | {"content_sha256": seal(document)}


def _zone(zone: ZoneRoom) -> dict[str, Any]:
    row = {
        "zone": plain(zone.zone) or "unnamed", "role": plain(zone.role), "quantity": zone.quantity,
        "limit_pct": zone.limit_pct, "house_default": zone.house_default,
        "shrinkage_alone": _rounded(zone.shrinkage_alone),
        "quantiles_ml_100g": [] if zone.undecided else _quantiles(zone.draws),
    }  # fmt: skip
    return row | ({"undecided": zone.undecided} if zone.undecided else {})


def _quantiles(draws: np.ndarray[Any, np.dtype[np.float64]]) -> list[float]:
    return [_rounded(value) for value in np.percentile(draws, _PERCENT, method="lower")]


def _deciding(room: HydrogenRoom) -> list[int]:
    """Return the place of the deciding zone at each level; -1 where none decides."""
    names = [zone.zone for zone in room.zones]
    zones = room.deciding([1.0 - percent / 100.0 for percent in _PERCENT])
    return [names.index(zone) if zone else -1 for zone in zones]


def _rounded(value: float) -> float:
    return float(f"{float(value):.{DIGITS}g}")


def inputs_hash(screening: Screening) -> str:
    """Return the sha256 of everything that went into a screening: files, settings, limits, seed and draws."""
    case = screening.case
    tool = {name: getattr(case.tool, name) for name in case.tool.__slots__ if name not in ("die", "coating")}
    parts = (
        case.inputs, case.alloy.id, case.sections, case.melt, case.tool.die.id, tool, case.treatment, case.limits,
        case.calibration, screening.depth, screening.seed, screening.draws,
    )  # fmt: skip
    return hashlib.sha256(repr(parts).encode("utf-8", "backslashreplace")).hexdigest()

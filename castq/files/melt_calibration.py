"""A named calibration of degassing kinetics as a small TOML file that cannot be altered unseen."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, fields
from pathlib import Path

from castq.core.errors import InputError, input_error
from castq.core.toml_table import Table, parse_toml
from castq.files.atomic import write_text
from castq.melt.fit import FitResult
from castq.melt.types import Kinetics

_HEAD = "# Degassing kinetics learnt from a plant's own treatments. Made by castq; fit again rather than edit.\n"
_TEXTS = ("name", "furnace", "rotor")
_LIMITS = {
    "rate_per_min": (1e-4, 5.0),
    "rate_log_sigma": (0.0, 3.0),
    "floor_ml_100g": (0.0, 0.5),
    "floor_sigma_ml_100g": (0.0, 0.2),
    "pick_up_per_min": (0.0, 0.5),
    "points": (0.0, 1e6),
    "rate_floor_correlation": (-1.0, 1.0),
    "pick_up_log_sigma": (0.0, 3.0),
    "treatment_log_sigma": (0.0, 3.0),
}
_MOST_BYTES = 64 * 1024


def write_calibration(path: Path, result: FitResult | Kinetics, *, force: bool = False) -> str:
    """Write a calibration whole or not at all.

    Parameters
    ----------
    path : Path
        The file.
    result : FitResult or Kinetics
        What was learnt.
    force : bool
        True to replace a file that is there.

    Returns
    -------
    str
        Hash of its content, which reports cite.

    Raises
    ------
    InputError
        If it cannot be written there.
    """
    kinetics = result.kinetics if isinstance(result, FitResult) else result
    values = asdict(kinetics)
    digest = kinetics_hash(kinetics)
    lines = [f"{name} = {_toml(value)}" for name, value in values.items()]
    notes = [f"# {words}" for words in result.warnings] if isinstance(result, FitResult) else []
    write_text(path, "\n".join([_HEAD.rstrip(), *notes, *lines, f'sha256 = "{digest}"', ""]), force=force)
    return digest


def read_calibration(path: Path) -> Kinetics:
    """Return the kinetics of a calibration file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Kinetics
        As they were written.

    Raises
    ------
    InputError
        If the file cannot be read, or is not what castq wrote.
    """
    table = Table(parse_toml(_read(path), path.name), path.name, "", [])
    table.require([field.name for field in fields(Kinetics)] + ["sha256"])
    texts = {name: _text(table, name) for name in _TEXTS}
    numbers = {name: table.number(name, *limits) for name, limits in _LIMITS.items()}
    stated = table.text("sha256")
    table.close()
    if table.faults:
        raise InputError(table.faults)
    values = {**texts, **numbers, "points": int(numbers["points"] or 0)}
    kinetics = Kinetics(**values)  # type: ignore[arg-type]
    if kinetics_hash(kinetics) != stated:
        raise input_error(path.name, "sha256", "does not fit the values: the file was altered", "", "fit again")
    return kinetics


def kinetics_hash(kinetics: Kinetics) -> str:
    """Return the hash of kinetics, the same whichever way they were read.

    Parameters
    ----------
    kinetics : Kinetics
        Calibration or defaults.

    Returns
    -------
    str
        sha256 of their canonical JSON.
    """
    values = {name: float(value) if name in _LIMITS else value for name, value in asdict(kinetics).items()}
    return hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()


def _toml(value: object) -> str:
    """Return a value as TOML: JSON writes text and numbers the same way."""
    return json.dumps(value, ensure_ascii=False)


def _text(table: Table, name: str) -> str:
    """Return a text that may be empty."""
    if table.data.get(name) == "":
        table.taken.add(name)
        return ""
    return table.text(name) or ""


def _read(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            data = stream.read(_MOST_BYTES + 1)
    except (OSError, ValueError) as exc:
        raise input_error(path.name, "", f"cannot be read ({exc})", "", f"check the path {path}") from exc
    if len(data) > _MOST_BYTES:
        raise input_error(path.name, "", "is too large for a calibration", "", "name the file that castq wrote")
    return data

"""Reading one kept design strictly: a file that is altered, cut or of another kind is refused in one sentence."""

from __future__ import annotations

import hashlib
import itertools
import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from castq.core.errors import Fault, InputError, input_error
from castq.core.nomenclature import SCHEMA_VERSION
from castq.core.toml_table import Table
from castq.melt.designs import LEVELS, KeptDesign, KeptZone

SCHEMA: Final = "castq screened design"
MAX_BYTES: Final = 2_000_000
AGAIN: Final = "keep the design again from its screening"
HEAD: Final = ("name", "alloy", "kept_at", "castq_version", "depth", "verdict", "inputs_sha256")
COUNTS: Final = ("seed", "draws")
MELT: Final = ("hydrogen_ml_100g", "strontium_ppm", "cleanliness")
ZONE: Final = ("zone", "role", "quantity")
_MOST_HYDROGEN: Final = 10.0


def seal(document: Mapping[str, Any]) -> str:
    """Return the sha256 of a document without its seal, independent of the order of its keys."""
    kept = {key: value for key, value in document.items() if key != "content_sha256"}
    text = json.dumps(kept, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def unpack(data: bytes, file: str) -> KeptDesign:
    """Return the design that a file keeps.

    Parameters
    ----------
    data : bytes
        Content of the file.
    file : str
        Its name, for the message and the record.

    Returns
    -------
    KeptDesign
        The design.

    Raises
    ------
    InputError
        If it is not JSON, of another kind or version, altered, or does not hold what a design needs.
    """
    document = _parsed(data, file)
    if document.get("schema") != SCHEMA:
        raise input_error(file, "schema", "is not a kept design", SCHEMA, "move the file to another folder")
    version = document.get("schema_version")
    if not isinstance(version, str) or version.split(".")[0] != SCHEMA_VERSION.split(".", maxsplit=1)[0]:
        raise input_error(file, "schema_version", "is of another castq", SCHEMA_VERSION, AGAIN)
    if document.get("content_sha256") != seal(document):
        raise input_error(file, "content_sha256", "the file has been altered or damaged since it was kept", "", AGAIN)
    faults: list[Fault] = []
    found = _design(Table(document, file, "", faults), file)
    if faults or found is None:
        raise InputError(faults or Fault(file, "", "does not hold a whole design", "", AGAIN))
    return found


def _parsed(data: bytes, file: str) -> dict[str, Any]:
    try:
        document = json.loads(data.decode("utf-8"))
    except (ValueError, RecursionError) as exc:
        raise input_error(file, "", "is not JSON, or only part of it", "a kept design", AGAIN) from exc
    if not isinstance(document, dict):
        raise input_error(file, "", "is not a kept design", SCHEMA, "move the file to another folder")
    return document


def _design(table: Table, file: str) -> KeptDesign | None:
    table.require((*HEAD, *COUNTS, "melt", "reaches_ml_100g", "quantiles_ml_100g", "deciding", "zones"))
    head = {key: str(table.text(key)) for key in HEAD}
    counts = {key: int(table.number(key, 0.0, 1e15) or 0) for key in COUNTS}
    reaches = table.number("reaches_ml_100g", 0.0, _MOST_HYDROGEN) or 0.0
    melt = table.table("melt") or Table({}, file, "melt", table.faults)
    melt.require(MELT)
    values = {key: melt.number(key, 0.0, 1e4) or 0.0 for key in MELT}
    zones = [_zone(row) for row in table.tables("zones")]
    quantiles = _quantiles(table)
    deciding = table.numbers("deciding", -1.0, len(zones) - 1.0) or []
    calibration = table.text("calibration") or ""
    if len(deciding) != len(quantiles):
        table.fault("deciding", f"has {len(deciding)} values", f"{len(quantiles)} values", AGAIN)
    kept_at = _time(table, head.pop("kept_at"))
    if table.faults or kept_at is None:
        return None
    found: dict[str, Any] = {**head, **counts, **values}
    return KeptDesign(
        **found, kept_at=kept_at, reaches_ml_100g=reaches, quantiles_ml_100g=quantiles,
        deciding=tuple(int(place) for place in deciding), zones=tuple(zone for zone in zones if zone),
        calibration=calibration, file=file,
    )  # fmt: skip


def _zone(table: Table) -> KeptZone | None:
    table.require((*ZONE, "limit_pct", "house_default", "shrinkage_alone", "quantiles_ml_100g"))
    texts = {key: str(table.text(key)) for key in ZONE}
    limit, alone = table.number("limit_pct", 0.0, 100.0), table.number("shrinkage_alone", 0.0, 1.0)
    quantiles, undecided = _quantiles(table), table.text("undecided") or ""
    house = table.flag("house_default")
    if bool(quantiles) == bool(undecided):
        table.fault("quantiles_ml_100g", "stands beside a reason why there are none, or lacks one", "", AGAIN)
    if table.faults:
        return None
    return KeptZone(
        **texts, limit_pct=limit or 0.0, house_default=bool(house), shrinkage_alone=alone or 0.0,
        quantiles_ml_100g=quantiles, undecided=undecided,
    )  # fmt: skip


def _quantiles(table: Table) -> tuple[float, ...]:
    """Return quantiles: none or as many as there are levels, never falling."""
    key = "quantiles_ml_100g"
    values = table.numbers(key, 0.0, _MOST_HYDROGEN) or []
    if len(values) not in (0, LEVELS):
        table.fault(key, f"has {len(values)} values", f"{LEVELS} values", AGAIN)
    elif any(second < first for first, second in itertools.pairwise(values)):
        table.fault(key, "falls from one level to the next", "rising values", AGAIN)
    return tuple(values)


def _time(table: Table, text: str) -> datetime | None:
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        table.fault("kept_at", "is not a time with its time zone", "for example 2026-05-04T06:10:00+02:00", AGAIN)
        return None
    return found

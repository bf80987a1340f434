"""What the viewer in the report is fed with: the surface and a coarse copy of the results, packed into one text."""

from __future__ import annotations

import base64
import zlib
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castq.geometry.roles import ROLES
from castq.report.colours import ROLE_TINTS, VERDICTS, ramp
from castq.report.fields import (
    REACH_CELLS,
    Scale,
    describe,
    nice_ticks,
    role_names,
    scale_of,
    shown_fields,
)
from castq.report.section import spoke_and_window_angles
from castq.report.words import DASH, number, span, unit_text
from castq.screening.fields import WheelFields
from castq.screening.types import Screening

# Cell of the coarse copy that the viewer colours from, and the largest edge that every WebGL2 device must take.
CELL_MM = 3.5
MAX_EDGE = 256
# What two wheels are compared by when they have more fields than a page can carry.
TELLING: tuple[str, ...] = (
    "local_solidification_time_s", "cutoff_time_s", "solid_time_s", "feeding_margin", "niyama", "sdas_um",
    "porosity_pct", "elongation_pct", "die_peak_c",
)  # fmt: skip
# Up to so many fields, over all wheels, are carried in steps of 1/254 of their scale, more of them in steps of 1/127.
FINE_FIELDS = 12
# Zones reach this many cells of the grid into the void, so that the surface has a zone.
SPREAD_CELLS = 2
# Index of the nearest metal cell for every cell, and which cells are near enough to take its result.
Reach = tuple[tuple[NDArray[np.int64], ...], NDArray[np.bool_]]


def stride_of(wheel: WheelFields) -> int:
    """Return how many cells of the grid make one cell of the coarse copy along each axis."""
    edge = max(wheel.zone_codes.shape)
    return max(1, round(CELL_MM / float(wheel.grid.spacing_mm)), -(-edge // MAX_EDGE))


def _blocks(array: NDArray[Any], stride: int, fill: float) -> NDArray[Any]:
    """Return the array with its cells gathered in blocks on the last axis, padded with `fill`."""
    pad = [(0, -n % stride) for n in array.shape]
    padded = np.pad(array, pad, constant_values=fill)
    nx, ny, nz = (n // stride for n in padded.shape)
    split = padded.reshape(nx, stride, ny, stride, nz, stride)
    return split.transpose(0, 2, 4, 1, 3, 5).reshape(nx, ny, nz, stride**3)


def coarse_codes(codes: NDArray[np.int8], stride: int) -> NDArray[np.uint8]:
    """Return the commonest zone of each block, 0 where the block holds no metal."""
    blocks = _blocks(codes, stride, 0)
    votes = np.stack([(blocks == i + 1).sum(axis=-1) for i in range(len(ROLES))])
    return np.where(votes.max(axis=0) > 0, votes.argmax(axis=0) + 1, 0).astype(np.uint8)


def fine_codes(codes: NDArray[np.int8], stride: int) -> NDArray[np.int8]:
    """Return the zones over the same box as the coarse copy, as fine as a texture may be, spread a little outwards."""
    from scipy.ndimage import maximum_filter

    padded = np.pad(codes, [(0, -n % stride) for n in codes.shape])
    if max(padded.shape) > MAX_EDGE:
        return coarse_codes(codes, stride).astype(np.int8)
    for _ in range(SPREAD_CELLS):
        padded = np.where(padded > 0, padded, maximum_filter(padded, 3))
    return padded


def coarse_values(values: NDArray[np.float32], solid: NDArray[np.bool_], stride: int) -> NDArray[np.float64]:
    """Return the mean of each block over its metal cells, NaN where there is none."""
    good = solid & np.isfinite(values)
    total = _blocks(np.where(good, values, 0.0), stride, 0.0).sum(axis=-1)
    count = _blocks(good.astype(np.float32), stride, 0.0).sum(axis=-1)
    return np.where(count > 0, total / np.maximum(count, 1.0), np.nan)


def _spread(present: NDArray[np.bool_]) -> Reach:
    """Return the index of the nearest present cell for every cell, and which cells are near enough to take it."""
    from scipy.ndimage import distance_transform_edt

    distance, index = distance_transform_edt(~present, return_indices=True)
    return tuple(index), distance <= REACH_CELLS


def _to_bytes(values: NDArray[np.float64], scale: Scale, reach: Reach, step: int = 1) -> NDArray[np.uint8]:
    """Return values as bytes 1 to 255 over the scale in whole steps, 0 where unknown."""
    present = np.isfinite(values)
    if not present.any():
        return np.zeros(values.shape, dtype=np.uint8)
    index, near = reach if present[reach[0]].all() else _spread(present)
    share = (values[index] - scale.low) / (scale.high - scale.low)
    return np.where(near, np.clip(1.0 + step * np.rint(254.0 / step * share), 1, 255), 0).astype(np.uint8)


def _surface(wheel: WheelFields) -> tuple[dict[str, Any], list[bytes]]:
    vertices = np.asarray(wheel.mesh.vertices, dtype=float)
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    quantised = np.rint((vertices - low) / np.maximum(high - low, 1e-9) * 65535.0).astype("<u2")
    faces = np.asarray(wheel.mesh.faces, dtype=np.int64)
    meta = {
        "low": low.round(4).tolist(),
        "high": high.round(4).tolist(),
        "vertices": len(vertices),
        "faces": len(faces),
    }
    return meta, [quantised.tobytes(), packed_faces(faces)]


def packed_faces(faces: NDArray[np.int64]) -> bytes:
    """Return triangles as bytes that deflate to half: each from its lowest corner on, in order, as small steps.

    The first corners are written as steps from the triangle before, the others as steps from the first, signs folded
    into the lowest bit, first all low bytes and last all high ones.
    """
    lowest = faces.argmin(axis=1)[:, None] + np.arange(3)
    turned = np.take_along_axis(faces, lowest % 3, axis=1)
    turned = turned[np.lexsort(turned.T[::-1])]
    first = np.diff(turned[:, 0], prepend=0)
    steps = np.concatenate([first, turned[:, 1] - turned[:, 0], turned[:, 2] - turned[:, 0]])
    folded = ((steps << 1) ^ (steps >> 63)).astype("<u4")
    return np.ascontiguousarray(folded.view(np.uint8).reshape(-1, 4).T).tobytes()


def wheel_payload(wheel: WheelFields, scales: Sequence[Scale], step: int = 1) -> dict[str, Any]:
    """Return one wheel for the viewer: mesh and grid in numbers, bulk data deflated and in base64.

    Parameters
    ----------
    wheel : WheelFields
        The wheel.
    scales : sequence of Scale
        Fields to carry, each with its colour scale.
    step : int
        Coarseness of the values, in 1/254 of their scale [-].

    Returns
    -------
    dict
        `mesh`, `grid`, `blocks` (name and length [bytes], in order) and `data`; of a field only the cells are written
        that `carried` has a bit for.
    """
    stride = stride_of(wheel)
    solid = wheel.zone_codes > 0
    codes = coarse_codes(wheel.zone_codes, stride)
    reach = _spread(codes > 0)
    mesh, bulk = _surface(wheel)
    zones = fine_codes(wheel.zone_codes, stride)
    carried = _in_order(reach[1])
    bulk += [_in_order(zones).tobytes(), np.packbits(carried).tobytes()]
    names = ["positions", "faces", "zones", "carried"]
    for scale in scales:
        levels = _to_bytes(coarse_values(wheel.fields[scale.name], solid, stride), scale, reach, step)
        bulk.append(_in_order(levels)[carried > 0].tobytes())
        names.append(scale.name)
    low = np.asarray(wheel.grid.origin_mm, dtype=float)
    high = low + np.array(codes.shape) * stride * float(wheel.grid.spacing_mm)
    packed = zlib.compress(b"".join(bulk), 7)
    return {
        "mesh": mesh,
        "angles": dict(zip(("spoke", "window"), spoke_and_window_angles(wheel), strict=True)),
        "grid": {
            "shape": list(codes.shape),
            "zone_shape": list(zones.shape),
            "low": low.round(4).tolist(),
            "high": high.round(4).tolist(),
        },
        "blocks": [[name, len(part)] for name, part in zip(names, bulk, strict=True)],
        "data": base64.b64encode(packed).decode("ascii"),
    }


def _in_order(array: NDArray[np.generic]) -> NDArray[np.uint8]:
    """Return bytes in one row with x running fastest, as a 3-D texture wants them."""
    return array.astype(np.uint8).transpose(2, 1, 0).ravel()


def _zone_entry(code: int, screening: Screening, fields: Sequence[str]) -> dict[str, Any]:
    role = ROLES[code - 1]
    rows = screening.zones[screening.zones["role"] == role]
    values = {}
    for name in fields:
        if name in rows.columns and len(rows):
            row = rows.iloc[0]
            unit = unit_text(describe(name)[1])
            text = f"{number(row[name])} {unit}".strip() if number(row[name]) != DASH else DASH
            band = span(row.get(f"{name}_p10"), row.get(f"{name}_p90"))
            values[name] = f"{text} ({band})" if band else text
    verdict = max((str(v) for v in rows["risk"]), key=lambda v: VERDICTS[v].rank, default="no limit")
    look = VERDICTS[verdict]
    return {"code": code, "name": role, "tint": ROLE_TINTS[code - 1], "values": values, "verdict": look.word,
            "symbol": look.symbol, "colour": look.colour, "verdict_tint": look.tint}  # fmt: skip


def viewer_fields(*wheels: WheelFields) -> tuple[str, ...]:
    """Return the fields that the viewer offers: all that the wheels share, for two wheels only the telling ones."""
    shared = shown_fields(*wheels)
    telling = tuple(name for name in TELLING if name in shared)
    return telling if len(wheels) > 1 and len(shared) > len(TELLING) else shared


def viewer_payload(wheels: Mapping[str, tuple[WheelFields, Screening]]) -> dict[str, Any]:
    """Return everything the viewer needs for one wheel, or for two side by side on shared colour scales.

    Parameters
    ----------
    wheels : mapping of name to (WheelFields, Screening)
        Wheels in the order of display.

    Returns
    -------
    dict
        `wheels`, `fields` (scales with ticks), `ramp` (colours) ready for JSON.
    """
    sources = [fields for fields, _ in wheels.values()]
    shared = viewer_fields(*sources)
    scales = [scale_of(name, *sources) for name in shared]
    step = 1 if len(scales) * len(wheels) <= FINE_FIELDS else 2
    entries = []
    for name, (wheel, screening) in wheels.items():
        codes = [ROLES.index(role) + 1 for role in role_names(wheel.zone_codes)]
        zones = [_zone_entry(code, screening, shared) for code in codes]
        entries.append({"name": name, "zones": zones, **wheel_payload(wheel, scales, step)})
    return {
        "wheels": entries,
        "fields": [
            {"name": s.name, "label": s.label, "unit": unit_text(s.unit), "reverse": s.reverse, "low": s.low,
             "high": s.high, "below": s.below, "above": s.above, "better": s.better, "ticks": nice_ticks(s.low, s.high)}
            for s in scales
        ],
        "ramp": ramp(64).tolist(),
    }  # fmt: skip

"""Results on the voxel grid for viewers and for numpy: VTK image data and npz."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import accumulate
from xml.sax.saxutils import quoteattr

import numpy as np
from numpy.typing import NDArray

from castq.geometry.roles import ROLES
from castq.report.fields import describe
from castq.screening.fields import WheelFields

BLOCK_BYTES = 1 << 20
# Bits of a number that no result is good for, cleared so that it packs well: what is left is good to 1 in 2000.
SPARE_BITS = 13
# Fields are mostly void: a harder level is four times slower for a tenth of the size.
LEVEL = 1
# Values where there is no metal; NaN for all others.
VOID = {"metal_share": 0.0, "zone_code": 0}
_TYPES = {"float32": "Float32", "int8": "Int8"}


@dataclass(frozen=True, slots=True, eq=False)
class _Packed:
    """Fields of the cells with metal.

    `place`: indices of each cell along x, y and z; `arrays`: values of the cells.
    """

    shape: tuple[int, ...]
    place: tuple[NDArray[np.int64], ...]
    arrays: dict[str, NDArray[np.generic]]

    def cells(self) -> NDArray[np.int64]:
        """Return the place of each cell in the grid read row by row."""
        return np.asarray(np.ravel_multi_index(self.place, self.shape))

    def image(self, name: str) -> NDArray[np.generic]:
        """Return one field on the whole grid, x running fastest."""
        values = self.arrays[name]
        image = np.full(self.shape[::-1], VOID.get(name, np.nan), dtype=values.dtype)
        image.reshape(-1)[np.ravel_multi_index(self.place[::-1], self.shape[::-1])] = values
        return image


def _packed(wheel: WheelFields) -> _Packed:
    place = np.nonzero(wheel.grid.fraction > 0.0)
    arrays: dict[str, NDArray[np.generic]] = {
        "metal_share": wheel.grid.fraction[place].astype(np.float32),
        "zone_code": wheel.zone_codes[place].astype(np.int8),
    }
    for name in sorted(wheel.fields):
        arrays[name] = rounded(wheel.fields[name][place])
    return _Packed(wheel.zone_codes.shape, place, arrays)


def rounded(field: NDArray[np.floating]) -> NDArray[np.float32]:
    """Return a field to the digits it is written with.

    Parameters
    ----------
    field : array
        Any unit.

    Returns
    -------
    float32 array
        In the same unit, each value within 1 in 2000; NaN and infinity stay.
    """
    bits = np.array(field, dtype=np.float32).view(np.uint32)
    bits += np.uint32(1 << (SPARE_BITS - 1))
    bits &= np.uint32(0xFFFFFFFF << SPARE_BITS & 0xFFFFFFFF)
    return bits.view(np.float32)


def _compressed(image: NDArray[np.generic]) -> bytes:
    """Return one array as VTK wants it compressed: block count, block size, size of a short last block, sizes, blocks.

    All header numbers are unsigned 64 bit; the size of the last block is written as 0 when it is a full one.
    """
    raw = image.astype(image.dtype.newbyteorder("<"), copy=False).tobytes()
    blocks = [zlib.compress(raw[i : i + BLOCK_BYTES], LEVEL) for i in range(0, len(raw), BLOCK_BYTES)]
    head = [len(blocks), BLOCK_BYTES, len(raw) % BLOCK_BYTES, *(len(block) for block in blocks)]
    return struct.pack(f"<{len(head)}Q", *head) + b"".join(blocks)


def vti_bytes(wheel: WheelFields) -> bytes:
    """Return the fields as one VTK image data file: XML with appended raw data, zlib, little endian.

    Parameters
    ----------
    wheel : WheelFields
        The wheel with its fields, each in the unit its name ends in.

    Returns
    -------
    bytes
        A `.vti` file with one cell array a field; NaN where a field is unknown.
    """
    nx, ny, nz = wheel.zone_codes.shape
    origin = " ".join(f"{v:.9g}" for v in wheel.grid.origin_mm)
    spacing = " ".join([f"{wheel.grid.spacing_mm:.9g}"] * 3)
    extent = f"0 {nx} 0 {ny} 0 {nz}"
    packed = _packed(wheel)
    arrays = packed.arrays
    with ThreadPoolExecutor() as pool:
        bulk = list(pool.map(lambda name: _compressed(packed.image(name)), arrays))
    offsets = [0, *accumulate(len(part) for part in bulk)]
    entries = [
        f"<DataArray type={quoteattr(_TYPES[array.dtype.name])} Name={quoteattr(name)} "
        f'NumberOfComponents="1" format="appended" offset="{offset}"/>'
        for (name, array), offset in zip(arrays.items(), offsets[:-1], strict=True)
    ]
    head = (
        '<?xml version="1.0"?>\n'
        '<VTKFile type="ImageData" version="1.0" byte_order="LittleEndian" header_type="UInt64" '
        'compressor="vtkZLibDataCompressor">\n'
        f'<ImageData WholeExtent="{extent}" Origin="{origin}" Spacing="{spacing}">\n'
        f'<Piece Extent="{extent}">\n<CellData>\n' + "\n".join(entries) + "\n</CellData>\n</Piece>\n</ImageData>\n"
        '<AppendedData encoding="raw">\n_'
    )
    return head.encode("utf-8") + b"".join(bulk) + b"\n</AppendedData>\n</VTKFile>\n"


def npz_bytes(wheel: WheelFields) -> bytes:
    """Return mesh, grid and fields as a compressed npz file that loads without pickle.

    Parameters
    ----------
    wheel : WheelFields
        The wheel.

    Returns
    -------
    bytes
        Arrays `vertices_mm`, `faces`, `origin_mm`, `spacing_mm`, `shape`, `cells`, `roles`, `field_units`,
        `metal_share`, `zone_code` and one array a field: values of the cells with metal. A field on the whole grid is
        `field = np.full(shape, np.nan); field.ravel()[cells] = values`.
    """
    packed = _packed(wheel)
    units = [f"{name} [{describe(name)[1]}]" for name in sorted(wheel.fields)]
    arrays = {
        "vertices_mm": np.asarray(wheel.mesh.vertices, dtype=np.float32),
        "faces": np.asarray(wheel.mesh.faces, dtype=np.uint32),
        "origin_mm": np.asarray(wheel.grid.origin_mm, dtype=float),
        "spacing_mm": np.array(float(wheel.grid.spacing_mm)),
        "shape": np.array(packed.shape),
        "cells": packed.cells().astype(np.int64),
        "roles": np.array(ROLES),
        "field_units": np.array(units),
        **packed.arrays,
    }
    buffer = io.BytesIO()
    # As numpy's own writer does, but for the level.
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=LEVEL) as archive:
        for name, array in arrays.items():
            with archive.open(f"{name}.npy", "w", force_zip64=True) as member:
                np.lib.format.write_array(member, array, allow_pickle=False)
    return buffer.getvalue()

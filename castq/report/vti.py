"""Results on the voxel grid for viewers and for numpy: VTK image data and npz."""

from __future__ import annotations

import io
import struct
import zlib
from xml.sax.saxutils import quoteattr

import numpy as np
from numpy.typing import NDArray

from castq.geometry.roles import ROLES
from castq.report.fields import describe
from castq.screening.fields import WheelFields

BLOCK_BYTES = 1 << 20
# Fields are mostly void: a harder level is four times slower for a tenth of the size.
LEVEL = 1
_TYPES = {"float32": "Float32", "int8": "Int8"}


def _arrays(wheel: WheelFields) -> dict[str, NDArray[np.generic]]:
    arrays: dict[str, NDArray[np.generic]] = {
        "metal_share": np.asarray(wheel.grid.fraction, dtype=np.float32),
        "zone_code": np.asarray(wheel.zone_codes, dtype=np.int8),
    }
    for name in sorted(wheel.fields):
        arrays[name] = np.asarray(wheel.fields[name], dtype=np.float32)
    return arrays


def _compressed(array: NDArray[np.generic]) -> bytes:
    """Return one array as VTK wants it compressed: block count, block size, size of a short last block, sizes, blocks.

    All header numbers are unsigned 64 bit; the size of the last block is written as 0 when it is a full one.
    """
    raw = np.ascontiguousarray(array.transpose(2, 1, 0)).astype(array.dtype.newbyteorder("<")).tobytes()
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
    entries: list[str] = []
    bulk: list[bytes] = []
    for name, array in _arrays(wheel).items():
        entries.append(
            f"<DataArray type={quoteattr(_TYPES[array.dtype.name])} Name={quoteattr(name)} "
            f'NumberOfComponents="1" format="appended" offset="{sum(len(part) for part in bulk)}"/>'
        )
        bulk.append(_compressed(array))
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
        Arrays `vertices_mm`, `faces`, `origin_mm`, `spacing_mm`, `roles`, `field_units`, `metal_share`, `zone_code`
        and one array a field.
    """
    units = [f"{name} [{describe(name)[1]}]" for name in sorted(wheel.fields)]
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer,
        vertices_mm=np.asarray(wheel.mesh.vertices, dtype=np.float32),
        faces=np.asarray(wheel.mesh.faces, dtype=np.uint32),
        origin_mm=np.asarray(wheel.grid.origin_mm, dtype=float),
        spacing_mm=np.array(float(wheel.grid.spacing_mm)),
        roles=np.array(ROLES),
        field_units=np.array(units),
        **_arrays(wheel),  # type: ignore[arg-type]
    )
    return buffer.getvalue()

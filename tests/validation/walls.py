"""The one-dimensional wall solver against closed forms, on three grids."""

from __future__ import annotations

from unittest import mock

from castq.materials.types import DieMaterial
from castq.thermal import wall_kernel, wall_march
from castq.thermal.wall import freeze_walls
from tests.thermal import closed_forms as exact
from tests.thermal import solid_cases as cases
from tests.thermal.spoilt_wall import reference_s, times_s
from tests.thermal.test_wall import PERFECT, SLABS, front_time_s, slab_errors
from tests.validation.rows import Row, grid_error

TOPIC = "Wall solver, one-dimensional"
STEFAN = "Carslaw and Jaeger, Conduction of Heat in Solids, 1959, 11.2"
SCHWARZ = "Schwarz, Z. angew. Math. Mech. 13 (1933) 202"
# Metal, melt and face [degC].
FRONTS = {
    "one phase, A356-like": (cases.AT_FREEZING, 577.0001, 377.0),
    "two phases, A356-like": (cases.A356_LIKE, 677.0, 377.0),
    "two phases, data of a finite-element verification case": (cases.FE_CASE, 740.0, 580.0),
}


def row(id: str, values: list[float], d: float, share: float, *, source: str, what: str, formal: float = 2.0) -> Row:
    """Return the line of a time on three grids."""
    u_num, words = grid_error(values, formal=formal)
    return Row(TOPIC, what, id, values[-1], d, share * d, u_num=u_num, source=source, provenance="derived", unit="s",
               note=words)  # fmt: skip


def front_rows() -> list[Row]:
    rows = []
    for name, (metal, melt_c, face_c) in FRONTS.items():
        right = exact.front_time_s(metal, exact.neumann_root(metal, melt_c, face_c), 20.0)
        values = [front_time_s(20.0, metal, melt_c, face_c, cell) for cell in (2.0, 1.0, 0.5)]
        rows.append(row(f"time to freeze 20 mm: {name}", values, right, 0.005, source=STEFAN, what="Stefan and Neumann",
                        formal=1.0))  # fmt: skip
    return rows


def mould_row(mould: str) -> Row:
    (k, heat), start_c = cases.MOULDS[mould]
    root, _ = exact.schwarz(cases.AT_FREEZING, (k, heat), start_c)
    values = []
    for cells, die_cells in ((5, 20), (10, 40), (20, 80)):
        with mock.patch.object(wall_march, "DIE_CELLS", die_cells):
            times = freeze_walls(
                10.0, alloy=cases.AT_FREEZING, die=DieMaterial(mould, (), k, heat, 1.0, {}), melt_temp_c=577.0001,
                die_temp_c=start_c, contact_w_m2k=PERFECT, gap_w_m2k=PERFECT, outer_temp_c=start_c, cells=cells,
            )  # fmt: skip
        values.append(float(times.solid_s[0]))
    right = exact.front_time_s(cases.AT_FREEZING, root, 5.0)
    return row(f"time to freeze 5 mm: {mould}", values, right, 0.005, source=SCHWARZ, what="Metal against a mould",
               formal=1.0)  # fmt: skip


def slab_row(name: str) -> Row:
    biot, fourier, _ = SLABS[name]
    right = fourier * 0.02**2 * 2550.0 * 1000.0 / 100.0
    values = [right * (1.0 + error) for error in slab_errors(name, half_cell_counted=True)]
    return row(f"middle of a slab, Bi {biot:g}, Fo {fourier:g}", values, right, 0.005, what="Cooling without freezing",
               source="Carslaw and Jaeger 1959, 3.11")  # fmt: skip


def rows() -> list[Row]:
    """Return the lines of the wall solver."""
    varying = row("middle of a slab, conductivity varies fourfold", times_s(wall_kernel, (8, 16, 32)), reference_s(),
                  0.001, source="finite volumes in temperature, stiff integrator, extrapolated; ours, apart from castq",
                  what="Cooling without freezing")  # fmt: skip
    return [*front_rows(), *(mould_row(mould) for mould in cases.MOULDS), *(slab_row(name) for name in SLABS), varying]

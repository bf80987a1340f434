"""SYNTHETIC screening results for the report tests: invented wheel, invented numbers, no real product or plant."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from types import SimpleNamespace
from typing import Any

import manifold3d
import numpy as np
import pandas as pd
from scipy import ndimage

from castq.core.cautions import cautions_for
from castq.geometry.mesh import Mesh
from castq.geometry.roles import ROLES
from castq.screening.columns import COLUMNS
from castq.screening.fields import WheelFields
from castq.screening.types import (
    FEEDS_FROM,
    Case,
    Check,
    Comparison,
    Difference,
    Driver,
    InputFile,
    Limit,
    Melt,
    Screening,
    Section,
    Tool,
    Treatment,
)

# volume cm3, section, wall, typical, choke mm, local solidification s, cut-off s, margin, gas %, shrinkage %
SHAPE: dict[str, tuple[float, ...]] = {
    "hub": (690, 42, 24, 20, 22, 118, 131, np.nan, 0.28, 0.10),
    "bolt seat": (160, 24, 15, 13, 13, 71, 84, 1.42, 0.24, 0.04),
    "spoke-hub junction": (310, 31, 19, 17, 16, 88, 101, 1.19, 0.26, 0.07),
    "spoke": (640, 22, 13, 12, 11, 58, 70, 1.21, 0.22, 0.05),
    "spoke-rim junction": (280, 29, 18, 15, 14, 84, 92, 0.79, 0.27, 0.52),
    "rim well": (980, 11, 6.5, 5.5, 5.2, 21, 30, 1.36, 0.12, 0.03),
    "inboard flange": (330, 15, 9.0, 7.5, 6.0, 33, 43, 0.94, 0.15, 0.16),
    "outboard flange": (350, 14, 8.5, 7.0, 6.5, 31, 40, 1.28, 0.14, 0.04),
}
SPREAD = {
    "local_solidification_time_s": 0.14, "solid_time_s": 0.12, "cutoff_time_s": 0.13, "cooling_rate_k_per_s": 0.15,
    "sdas_um": 0.09, "feeding_margin": 0.10, "niyama": 0.25, "gas_porosity_pct": 0.35, "shrinkage_porosity_pct": 0.45,
    "porosity_pct": 0.32, "pore_size_um": 0.22, "largest_pore_um": 0.28, "ys_mpa": 0.05, "uts_mpa": 0.05,
    "elongation_pct": 0.26, "hardness_hb": 0.05, "quality_index_mpa": 0.05, "fatigue_strength_mpa": 0.10,
}  # fmt: skip
UNITS = {column.name: column.unit for column in COLUMNS}


@dataclass(frozen=True)
class Grid:
    """Stands in for the voxel grid: metal share of each cell, lower corner and cell size [mm]."""

    fraction: np.ndarray
    origin_mm: np.ndarray
    spacing_mm: float


def _chain(role: str, factor: float) -> dict[str, float]:
    volume, section, wall, typical, choke, time, cutoff, margin, gas, shrink = SHAPE[role]
    time, cutoff = time * factor, cutoff * factor
    sdas = 10.0 * time ** (1 / 3)
    porosity = gas + shrink
    elongation = 28.0 * np.exp(-sdas / 30.0) * np.exp(-porosity / 1.2)
    ys = 219.0 - 0.2 * sdas
    uts = (ys + 22.0 * elongation**0.62) * (1 - porosity / 100)
    largest = 180 + 520 * porosity
    return {
        "volume_cm3": volume, "section_mm": section, "wall_mm": wall, "typical_mm": typical, "choke_mm": choke,
        "local_solidification_time_s": time, "solid_time_s": cutoff * 1.18, "cutoff_time_s": cutoff,
        "cooling_rate_k_per_s": 58.0 / time, "sdas_um": sdas,
        "sdas_finest_um": 0.88 * sdas, "sdas_coarsest_um": 1.28 * sdas, "feeding_margin": margin,
        "niyama": np.nan if np.isnan(margin) else 0.55 * margin**2, "gas_porosity_pct": gas,
        "shrinkage_porosity_pct": shrink, "porosity_pct": porosity, "pore_size_um": 60 + 90 * porosity,
        "largest_pore_um": largest, "hydrogen_limit_ml_100g": 0.19 - 0.07 * porosity, "ys_mpa": ys, "uts_mpa": uts,
        "elongation_pct": elongation, "hardness_hb": ys / 2.45, "quality_index_mpa": uts + 150 * np.log10(elongation),
        "fatigue_strength_mpa": 118.0 * (largest / 200.0) ** (-1 / 6),
    }  # fmt: skip


def limits() -> tuple[Limit, ...]:
    rows = []
    for role in ROLES:
        rim = role in ("rim well", "inboard flange", "outboard flange")
        rows += [
            Limit(
                role,
                "elongation_pct",
                ">=",
                7.0 if rim else 4.0 if role in ("spoke", "spoke-rim junction") else 3.0,
                False,
            ),
            Limit(role, "ys_mpa", ">=", 190.0, False),
            Limit(role, "porosity_pct", "<=", 0.4 if rim else 0.6, True),
            Limit(role, "sdas_um", "<=", 40.0 if rim else 55.0, True),
        ]
    return tuple(rows)


def case(name: str = "Demo wheel 18x8, five spokes (synthetic)") -> Case:
    alloy: Any = SimpleNamespace(
        id="AlSi7Mg0.3", liquidus_c=613.0, end_of_freezing_c=555.0, sources={}, composition_wt_pct={}
    )
    die: Any = SimpleNamespace(id="hot-work steel 1.2343", sources={})
    sections = tuple(
        Section(role, role, s[1], s[2], s[4], s[0], FEEDS_FROM[role], 45.0, s[3]) for role, s in SHAPE.items()
    )
    flat = dict.fromkeys(ROLES, 1500.0)
    tool = Tool("low-pressure", die, 45.0, dict.fromkeys(ROLES, 420.0), flat, dict.fromkeys(ROLES, 500.0), 0.9, 250.0,
                False)  # fmt: skip
    return Case(
        name=name, alloy=alloy, sections=sections, melt=Melt(0.14, 705.0, 0.32, 0.12, 7.1, 0.01, 160.0, 1.0),
        tool=tool, treatment=Treatment("T6", 4.0, 540.0, 5.0, 155.0, 60.0), limits=limits(),
        inputs=(InputFile("demo_wheel.toml", "9f2c" * 16, 812), InputFile("demo_wheel.stl", "51ab" * 16, 1183484)),
        defaults_used=(
            "tool.die_wall = 45 mm (usual wall behind a wheel casting; common practice)",
            "tool.hold_pressure = 0.9 bar (common practice)",
            "melt.cleanliness = 1 (ordinary melt)",
            "limits.porosity = 0.3 % at the rim, 0.6 % elsewhere (house default, not from your drawing)",
        ),
        warnings=("demo_wheel.stl carries no unit; read as mm because the case says so.",),
        shape={"mass_kg": 10.02, "diameter_mm": 478.0},
    )  # fmt: skip


@cache
def screening(name: str = "Demo wheel 18x8, five spokes (synthetic)", factor: float = 1.0) -> Screening:
    rng = np.random.default_rng(20)
    this = case(name)
    rows, samples = [], {key: [] for key in SPREAD}
    for role in ROLES:
        median = _chain(role, factor)
        row: dict[str, Any] = {"zone": role, "role": role, "freezes_after": FEEDS_FROM[role], **median}
        for key, spread in SPREAD.items():
            draws = median[key] * np.exp(spread * rng.standard_normal(256))
            samples[key].append(draws)
            row[f"{key}_p10"], row[key], row[f"{key}_p90"] = np.percentile(draws, [10, 50, 90])
        rows.append(row)
    arrays = {key: np.array(value) for key, value in samples.items()}
    checks = tuple(_check(limit, arrays) for limit in this.limits)
    worst = max(checks, key=lambda c: ("no limit", "pass", "not decided", "at risk", "fails").index(c.verdict))
    by_zone = {role: [c.verdict for c in checks if c.zone == role] for role in ROLES}
    for row in rows:
        row["risk"] = max(by_zone[row["zone"]], key=("no limit", "pass", "not decided", "at risk", "fails").index)
    order = [c.name for c in COLUMNS]
    order += [f"{c.name}{end}" for c in COLUMNS if c.predicted for end in ("_p10", "_p90")]
    ok = np.ones(256, bool)
    for c in checks:
        values = arrays[c.quantity][ROLES.index(c.role)]
        ok &= values >= c.limit if c.operator == ">=" else values <= c.limit
    return Screening(
        case=this, zones=pd.DataFrame(rows)[order], checks=checks, verdict=worst.verdict,
        probability_ok=float(ok.mean()), drivers=_drivers(), relations=("sdas-cube-root-time", "not-registered"),
        warnings=(*this.warnings, "Relation niyama: temperature gradient 0.2 K/mm lies at the edge of its range in rim "
                  "well; interval widened."),
        cautions=cautions_for("screen"), seed=20, draws=256, samples=arrays,
    )  # fmt: skip


def _check(limit: Limit, arrays: dict[str, np.ndarray]) -> Check:
    values = arrays[limit.quantity][ROLES.index(limit.role)]
    ok = float(np.mean(values >= limit.value if limit.operator == ">=" else values <= limit.value))
    verdict = "pass" if ok >= 0.9 else "at risk" if ok >= 0.5 else "fails"
    if limit.role == "bolt seat" and limit.quantity == "sdas_um":
        verdict = "not decided"
    p10, p50, p90 = np.percentile(values, [10, 50, 90])
    return Check(limit.role, limit.role, limit.quantity, limit.operator, limit.value, UNITS[limit.quantity], float(p50),
                 float(p10), float(p90), ok, verdict, limit.house_default, "")  # fmt: skip


def _drivers() -> tuple[Driver, ...]:
    shares = {
        "elongation_pct": (("elongation law", 0.46), ("shrinkage closure", 0.22), ("hydrogen", 0.14), ("SDAS", 0.11),
                           ("interface coefficient", 0.07)),
        "porosity_pct": (("shrinkage closure", 0.51), ("hydrogen", 0.27), ("interface coefficient", 0.12),
                         ("die temperature", 0.10)),
    }  # fmt: skip
    return tuple(
        Driver(zone, quantity, source, share)
        for zone in ROLES
        for quantity, parts in shares.items()
        for source, share in parts
    )


@cache
def comparison() -> Comparison:
    a, b = screening("Design A (synthetic)"), screening("Design B, thinner junction (synthetic)", 0.86)
    differences = []
    for role in ROLES:
        for quantity, better in (("elongation_pct", "higher"), ("porosity_pct", "lower"), ("sdas_um", "lower")):
            i = ROLES.index(role)
            delta = b.samples[quantity][i] - a.samples[quantity][i]
            if quantity == "porosity_pct" and role in ("hub", "inboard flange"):
                delta = delta + 0.35 * a.samples[quantity][i]
            p = float(np.mean(delta > 0 if better == "higher" else delta < 0))
            p10, p50, p90 = (float(v) for v in np.percentile(delta, [10, 50, 90]))
            verdict = "no difference" if p10 <= 0 <= p90 else "B better" if p > 0.5 else "A better"
            first = float(np.median(a.samples[quantity][i]))
            differences.append(
                Difference(role, quantity, UNITS[quantity], better, first, first + p50, p50, p10, p90, p, verdict)
            )
    return Comparison(a, b, tuple(differences), "mixed", (), (), ("Design B has no bolt holes drawn.",))


@cache
def wheel_mesh(spokes: int = 5, segments: int = 192) -> Mesh:
    outer = [
        (235, -100),
        (239, -100),
        (239, -88),
        (226, -82),
        (224, -40),
        (205, -30),
        (203, 20),
        (217, 40),
        (219, 80),
        (239, 88),
        (239, 100),
        (233, 100),
        (213, 90),
        (211, 45),
        (196, 25),
        (198, -35),
        (217, -45),
        (219, -86),
    ]
    hub = [(32, 30), (75, 30), (80, 38), (80, 66), (72, 72), (32, 72)]
    parts = []
    for profile in (outer, hub):
        part = manifold3d.Manifold.revolve(manifold3d.CrossSection([profile[::1]]), segments)
        parts.append(part if part.volume() > 0 else manifold3d.Manifold.revolve(
            manifold3d.CrossSection([profile[::-1]]), segments))  # fmt: skip
    for i in range(spokes):
        inner = manifold3d.Manifold.cube((8, 46, 30), True).translate((72, 0, 52))
        middle = manifold3d.Manifold.cube((8, 34, 22), True).translate((140, 0, 60))
        tip = manifold3d.Manifold.cube((10, 46, 27), True).translate((205, 0, 52))
        spoke = manifold3d.Manifold.batch_hull([inner, middle]) + manifold3d.Manifold.batch_hull([middle, tip])
        pocket = manifold3d.Manifold.batch_hull([
            manifold3d.Manifold.cube((8, 18, 20), True).translate((100, 0, 38)),
            manifold3d.Manifold.cube((8, 14, 20), True).translate((175, 0, 42)),
        ])  # fmt: skip
        parts.append((spoke - pocket).rotate((0, 0, 360.0 / spokes * i)))
    wheel = manifold3d.Manifold.batch_boolean(parts, manifold3d.OpType.Add)
    for i in range(5):
        bolt = manifold3d.Manifold.cylinder(60, 7.5, 7.5, 32) + manifold3d.Manifold.cylinder(
            30, 13, 13, 32).translate((0, 0, 36))  # fmt: skip
        wheel -= bolt.translate((57, 0, 25)).rotate((0, 0, 72.0 * i + 36))
    raw = wheel.to_mesh()
    return Mesh(np.asarray(raw.vert_properties, dtype=float)[:, :3], np.asarray(raw.tri_verts, dtype=np.int64))


@cache
def wheel_fields(spacing_mm: float = 3.0, factor: float = 1.0, spokes: int = 5) -> WheelFields:
    mesh = wheel_mesh(spokes)
    low = mesh.vertices.min(0) - 2 * spacing_mm
    shape = np.ceil((mesh.vertices.max(0) + 2 * spacing_mm - low) / spacing_mm).astype(int)
    fraction = _fraction(mesh, low, shape, spacing_mm)
    x, y, z = (low[i] + spacing_mm * (np.arange(shape[i]) + 0.5) for i in range(3))
    r = np.hypot(x[:, None], y[None, :])[:, :, None]
    z = z[None, None, :]
    role = np.select(
        [(r < 80) & (r > 40) & (r < 72) & (z < 44), r < 72, r < 92, r < 182, (r < 212) & (z > 22), z > 78, z < -78],
        [ROLES.index(n) + 1 for n in ("bolt seat", "hub", "spoke-hub junction", "spoke", "spoke-rim junction",
                                      "outboard flange", "inboard flange")],
        ROLES.index("rim well") + 1,
    )  # fmt: skip
    solid = fraction > 0.25
    codes = np.where(solid, np.broadcast_to(role, fraction.shape), 0).astype(np.int8)
    depth = ndimage.distance_transform_edt(solid) * spacing_mm
    local = ndimage.maximum_filter(depth, size=max(3, round(15 / spacing_mm)))
    time = factor * (6.0 + 1.5 * np.maximum(ndimage.gaussian_filter(local, 6 / spacing_mm), 0) ** 1.4 + 0.8 * depth)
    sdas = 10.0 * np.cbrt(time)
    pores = 0.08 + 0.0028 * time + 0.5 * np.exp(-(((r - 196) / 12) ** 2 + ((z - 48) / 12) ** 2))
    stretch = 28 * np.exp(-sdas / 30) * np.exp(-pores / 1.2)
    values = {
        "local_solidification_time_s": time, "sdas_um": sdas, "porosity_pct": pores, "elongation_pct": stretch,
        "wall_mm": 2 * local,
    }  # fmt: skip
    grid: Any = Grid(fraction.astype(np.float32), low, spacing_mm)
    return WheelFields(mesh, grid, codes, {k: np.where(solid, v, np.nan).astype(np.float32) for k, v in values.items()})


def _fraction(mesh: Mesh, low: np.ndarray, shape: np.ndarray, spacing_mm: float) -> np.ndarray:
    """Metal share by parity along z of a 2 x 2 bundle of lines through each column of cells."""
    body = manifold3d.Manifold(manifold3d.Mesh(mesh.vertices.astype(np.float32), mesh.faces.astype(np.uint32)))
    result = np.zeros(tuple(shape))
    fine = spacing_mm / 2
    xs = low[0] + fine * (np.arange(2 * shape[0]) + 0.5)
    ys = low[1] + fine * (np.arange(2 * shape[1]) + 0.5)
    for k in range(2 * shape[2]):
        inside = np.zeros((len(xs), len(ys)), dtype=np.int32)
        for loop in body.slice(low[2] + fine * (k + 0.5)).to_polygons():
            p, q = np.asarray(loop), np.roll(np.asarray(loop), -1, axis=0)
            for (x0, y0), (x1, y1) in zip(p, q, strict=True):
                i0, i1 = np.searchsorted(xs, sorted((x0, x1)))
                if i0 < i1:
                    j = np.searchsorted(ys, y0 + (y1 - y0) * (xs[i0:i1] - x0) / (x1 - x0))
                    np.add.at(inside, (np.arange(i0, i1)[j < len(ys)], j[j < len(ys)]), 1)
        filled = np.cumsum(inside, axis=1) % 2
        result[:, :, k // 2] += filled.reshape(shape[0], 2, shape[1], 2).sum(axis=(1, 3)) / 8.0
    return result


def hostile(payload: str) -> Screening:
    """A screening with the payload in every free text a user can write."""
    base = screening(payload)
    zones = base.zones.copy()
    zones["zone"] = [payload + str(i) for i in range(len(zones))]
    checks = tuple(replace(c, zone=payload + "0", comment=payload) for c in base.checks)
    drivers = tuple(replace(d, zone=payload + "0", source=payload) for d in base.drivers)
    mean_case = replace(base.case, inputs=(InputFile(payload, "00" * 32, 1),), defaults_used=(payload,),
                        warnings=(payload,), shape={payload: payload})  # fmt: skip
    return replace(base, case=mean_case, zones=zones, checks=checks, drivers=drivers, relations=(payload,),
                   warnings=(payload,), cautions=(*base.cautions, payload))  # fmt: skip

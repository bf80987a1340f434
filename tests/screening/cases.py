"""Small invented cases for tests (SYNTHETIC)."""

from __future__ import annotations

from dataclasses import replace

from castq.geometry.roles import ROLES
from castq.materials import alloy, die_material
from castq.screening.types import Case, Limit, Melt, Section, Tool, Treatment


def section(
    zone: str, role: str, wall: float, feeder: str, choke: float | None = None, distance: float = 60.0
) -> Section:
    return Section(zone, role, wall, wall, choke or wall, 300.0, feeder, distance, wall)


def melt(**changes: float) -> Melt:
    return replace(Melt(0.12, 705.0, 0.35, 0.10, 7.0, 0.0, 150.0, 1.0), **changes)


def tool(**changes: object) -> Tool:
    die_c = dict.fromkeys(ROLES, 350.0) | {"spoke-rim junction": 400.0}
    return replace(
        Tool("low-pressure", die_material("H13"), 40.0, die_c, dict.fromkeys(ROLES, 1500.0),
             dict.fromkeys(ROLES, 500.0), 0.8, 150.0, False),
        **changes,
    )  # fmt: skip


def wheel(spoke: float = 18.0, junction: float = 24.0, name: str = "wheel", **changes: object) -> Case:
    """Return a case of six zones with a spoke and a spoke-rim junction of the thickness given [mm]."""
    sections = (
        section("hub", "hub", 34.0, "gate"),
        section("spoke-hub junction", "spoke-hub junction", 28.0, "hub", 26.0),
        section("spoke", "spoke", spoke, "spoke-hub junction", spoke - 2.0, 80.0),
        section("spoke-rim junction", "spoke-rim junction", junction, "spoke", junction - 2.0, 70.0),
        section("rim well", "rim well", 8.0, "spoke-rim junction", 7.0, 50.0),
        section("outboard flange", "outboard flange", 9.0, "spoke-rim junction", 8.0, 40.0),
    )
    limits = (
        Limit("spoke", "elongation_pct", ">=", 5.0, True),
        Limit("spoke", "porosity_pct", "<=", 0.5, True),
        Limit("spoke-rim junction", "porosity_pct", "<=", 0.8, False),
        Limit("rim well", "sdas_um", "<=", 35.0, True),
    )
    treatment = Treatment("T6", 6.0, 540.0, 6.0, 170.0, 30.0)
    case = Case(name, alloy("AlSi7Mg0.3"), sections, melt(), tool(), treatment, limits)
    return replace(case, **changes)

"""What a screening is given and what it returns: frozen records, units in the names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from castq.thermal.tool import ToolParts

if TYPE_CHECKING:
    import pandas as pd

    from castq.materials import Alloy, DieMaterial
    from castq.screening.room_records import HydrogenRoom
    from castq.screening.solid_records import SolidSummary

# Metal comes in at the hub in a low-pressure wheel tool, so hub and bolt seats stand on the gate and each other zone is
# fed by its neighbour toward the hub. Common practice, no source.
FEEDS_FROM: dict[str, str] = {
    "hub": "gate",
    "bolt seat": "gate",
    "spoke-hub junction": "hub",
    "spoke": "spoke-hub junction",
    "spoke-rim junction": "spoke",
    "rim well": "spoke-rim junction",
    "inboard flange": "rim well",
    "outboard flange": "spoke-rim junction",
}

Verdict = Literal["pass", "at risk", "fails", "not decided", "no limit"]


@dataclass(frozen=True, slots=True)
class Section:
    """One zone as section depth sees it.

    Attributes
    ----------
    zone : str
        Name of the zone, unique in its case.
    role : str
        One of `castq.geometry.roles.ROLES`.
    section_mm : float
        Diameter of the largest inscribed sphere at the thick end of the zone [mm].
    wall_mm : float
        Thickness of the plate with the same modulus (volume over cooled surface) there [mm].
    choke_mm : float
        Such a thickness at the thinnest station on the way through the zone [mm].
    volume_cm3 : float
        Volume of the zone, all its copies together [cm3]; NaN when unknown.
    feeds_from : str
        Name of the zone that feeds it, or "gate".
    feed_distance_mm : float
        Distance to the middle of the feeding zone [mm]; NaN when unknown.
    typical_mm : float
        Volume median of the equivalent wall in the zone [mm].
    """

    zone: str
    role: str
    section_mm: float
    wall_mm: float
    choke_mm: float
    volume_cm3: float
    feeds_from: str
    feed_distance_mm: float = float("nan")
    typical_mm: float = float("nan")


@dataclass(frozen=True, slots=True)
class Melt:
    """The melt as poured.

    Attributes
    ----------
    hydrogen_ml_100g : float
        Dissolved hydrogen [ml STP/100 g].
    melt_temp_c : float
        Pouring temperature [degC].
    magnesium_wt_pct, iron_wt_pct, silicon_wt_pct, copper_wt_pct : float
        Composition [wt%].
    strontium_ppm : float
        Strontium [ppm]; 0 means not modified.
    cleanliness : float
        Oxide factor on gas porosity [-]: 0.5 clean, 1 ordinary, 2 rich in oxide films.
    """

    hydrogen_ml_100g: float
    melt_temp_c: float
    magnesium_wt_pct: float
    iron_wt_pct: float
    silicon_wt_pct: float
    copper_wt_pct: float
    strontium_ppm: float
    cleanliness: float


@dataclass(frozen=True, slots=True)
class CoatingLayer:
    """Coating of the die as applied: its name, conductivity [W/mK], and thickness by role [um]."""

    id: str
    k_w_mk: float
    thickness_um: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Tool:
    """The die and the way it is fed.

    Attributes
    ----------
    route : {"low-pressure", "gravity"}
        Casting process.
    die : DieMaterial
        Die material.
    die_wall_mm : float
        Die thickness behind the casting [mm].
    die_temp_c : mapping of role to float
        Die temperature at the start of the shot, by role [degC].
    contact_w_m2k, gap_w_m2k : mapping of role to float
        Interface coefficient before and after the skin leaves the die, by role [W/m2K].
    hold_pressure_bar : float
        Gauge pressure on the melt while the path is open [bar]; 0 for gravity.
    metal_head_mm : float
        Mean metal head above the casting [mm].
    rim_flow_formed : bool
        True when the rim is worked after casting; it is then screened as its cast preform.
    coating : CoatingLayer or None
        Coating behind the interface coefficients; None when the case gives these themselves.
    """

    route: Literal["low-pressure", "gravity"]
    die: DieMaterial
    die_wall_mm: float
    die_temp_c: Mapping[str, float]
    contact_w_m2k: Mapping[str, float]
    gap_w_m2k: Mapping[str, float]
    hold_pressure_bar: float
    metal_head_mm: float
    rim_flow_formed: bool
    coating: CoatingLayer | None = None


@dataclass(frozen=True, slots=True)
class Treatment:
    """Heat treatment.

    Attributes
    ----------
    temper : {"F", "T4", "T5", "T6"}
        Temper.
    solution_time_h, solution_temp_c : float
        Solution treatment [h], [degC].
    ageing_time_h, ageing_temp_c : float
        Artificial ageing [h], [degC].
    quench_rate_k_s : float
        Mean cooling rate of the quench at the zone [K/s].
    """

    temper: Literal["F", "T4", "T5", "T6"]
    solution_time_h: float
    solution_temp_c: float
    ageing_time_h: float
    ageing_temp_c: float
    quench_rate_k_s: float


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit on one quantity of one role: `quantity operator value`.

    Attributes
    ----------
    role : str
        One of `castq.geometry.roles.ROLES`.
    quantity : str
        Column of the zone table, for example `elongation_pct`.
    operator : {">=", "<="}
        Side that passes.
    value : float
        Limit, in the unit of the column.
    house_default : bool
        True when castq's house default is used because the case gives none.
    """

    role: str
    quantity: str
    operator: Literal[">=", "<="]
    value: float
    house_default: bool


@dataclass(frozen=True, slots=True)
class Calibration:
    """Constants a plant has fitted to its own measurements; the defaults are castq's.

    Attributes
    ----------
    name : str
        Name of the calibration, cited in every report; empty for the defaults.
    sdas_prefactor_um : float
        Prefactor of the SDAS relation [um/s^(1/3)].
    interface_factor, porosity_factor, elongation_factor : float
        Factors on interface coefficient, gas porosity and elongation [-].
    one_sigma : mapping of uncertain input to float
        Spreads that replace those of `castq.screening.uncertain`.
    """

    name: str = ""
    sdas_prefactor_um: float = 10.0
    interface_factor: float = 1.0
    porosity_factor: float = 1.0
    elongation_factor: float = 1.0
    one_sigma: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class InputFile:
    """A file the case was read from: name, sha256 and size in bytes."""

    name: str
    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Case:
    """One design, ready to be screened.

    `defaults_used` lists every value that the user did not give, as "key = value (why)"; `warnings` holds what the
    readers and the shape had to say; `parts` is what the die has beside its walls, for solid depth.
    """

    name: str
    alloy: Alloy
    sections: tuple[Section, ...]
    melt: Melt
    tool: Tool
    treatment: Treatment
    limits: tuple[Limit, ...]
    inputs: tuple[InputFile, ...] = ()
    defaults_used: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    shape: Mapping[str, Any] = field(default_factory=dict)
    calibration: Calibration = field(default_factory=Calibration)
    parts: ToolParts = field(default_factory=ToolParts)


@dataclass(frozen=True, slots=True)
class Check:
    """One row of the verdict sheet: a limit held against a prediction."""

    zone: str
    role: str
    quantity: str
    operator: str
    limit: float
    unit: str
    median: float
    p10: float
    p90: float
    probability_ok: float
    verdict: Verdict
    house_default: bool
    comment: str


@dataclass(frozen=True, slots=True)
class Driver:
    """How much of the variance of one quantity in one zone one uncertain input carries (share 0 to 1)."""

    zone: str
    quantity: str
    source: str
    share: float


@dataclass(frozen=True, slots=True, eq=False)
class Screening:
    """Result of a screening.

    Attributes
    ----------
    case : Case
        What was screened.
    zones : DataFrame
        The zone table, one row a zone; columns as in `castq.screening.columns`.
    checks : tuple of Check
        The verdict sheet.
    verdict : Verdict
        Worst verdict of the sheet.
    probability_ok : float
        Probability that every decided limit is met [-].
    drivers : tuple of Driver
        What drives the uncertainty, largest first within each zone and quantity.
    relations : tuple of str
        Ids of the relations used.
    warnings, cautions : tuple of str
        What to be careful about.
    seed, draws : int
        Seed and number of draws.
    samples : mapping of quantity to array (zones, draws)
        The draws behind the table, for comparison of two designs.
    undecided : mapping of (row, quantity) to str
        Why a prediction decides nothing.
    depth : {"section", "solid"}
        What the zone table rests on: a table of wall sections, or the solved field of the real shape.
    solid : SolidSummary or None
        What is to be said about that field.
    hydrogen_room : HydrogenRoom or None
        The hydrogen at which every zone still meets its limits on porosity, draw by draw.
    """

    case: Case
    zones: pd.DataFrame
    checks: tuple[Check, ...]
    verdict: Verdict
    probability_ok: float
    drivers: tuple[Driver, ...]
    relations: tuple[str, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    seed: int
    draws: int
    samples: Mapping[str, Any]
    undecided: Mapping[tuple[int, str], str] = field(default_factory=dict)
    depth: Literal["section", "solid"] = "section"
    solid: SolidSummary | None = None
    hydrogen_room: HydrogenRoom | None = None


@dataclass(frozen=True, slots=True)
class Difference:
    """One quantity of one role, design B against design A, over the same draws."""

    role: str
    quantity: str
    unit: str
    better_is: Literal["higher", "lower"]
    a_median: float
    b_median: float
    difference: float
    p10: float
    p90: float
    probability_b_better: float
    verdict: Literal["A better", "B better", "no difference"]


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Design B against design A, role by role."""

    a: Screening
    b: Screening
    differences: tuple[Difference, ...]
    verdict: Literal["A better", "B better", "no difference", "mixed"]
    only_in_a: tuple[str, ...]
    only_in_b: tuple[str, ...]
    warnings: tuple[str, ...]

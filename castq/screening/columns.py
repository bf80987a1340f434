"""The zone table, column by column: the one contract between the chain and everything downstream."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Column:
    """A column of the zone table.

    Attributes
    ----------
    name : str
        Column name; predicted columns have companions `name_p10` and `name_p90`.
    unit : str
        Unit; "-" for a ratio, "" for text.
    label : str
        Words for a table head or a colour bar.
    predicted : bool
        True when the column is a distribution: median, p10 and p90.
    better : {"higher", "lower", ""}
        Which way is better for the wheel.
    meaning : str
        One sentence.
    """

    name: str
    unit: str
    label: str
    predicted: bool
    better: Literal["higher", "lower", ""]
    meaning: str


COLUMNS: tuple[Column, ...] = (
    Column("zone", "", "Zone", False, "", "Name of the zone."),
    Column("role", "", "Place on the wheel", False, "", "Place on the wheel, as on a wheel drawing."),
    Column("volume_cm3", "cm3", "Volume", False, "", "Volume of the zone, all copies together."),
    Column("section_mm", "mm", "Section", False, "", "Largest inscribed sphere at the thick end (90th percentile)."),
    Column("wall_mm", "mm", "Equivalent wall", False, "", "Plate with the same modulus as the thick end."),
    Column("typical_mm", "mm", "Typical wall", False, "", "Volume median of the equivalent wall."),
    Column("choke_mm", "mm", "Choke", False, "", "Thinnest station on the way through the zone, equivalent wall."),
    Column("freezes_after", "", "Fed by", False, "", "The zone that should feed it, and so should freeze later."),
    Column(
        "local_solidification_time_s",
        "s",
        "Local solidification time",
        True,
        "lower",
        "From liquidus to end of freezing, in the middle of the section.",
    ),
    Column("solid_time_s", "s", "Time to solid", True, "lower", "From pouring until the middle is solid."),
    Column("cutoff_time_s", "s", "Time to feeding cut-off", True, "", "From pouring until feed metal stops passing."),
    Column(
        "cooling_rate_k_per_s", "K/s", "Cooling rate", True, "higher", "Freezing range over local solidification time."
    ),
    Column("sdas_um", "um", "SDAS", True, "lower", "Secondary dendrite arm spacing."),
    Column(
        "sdas_finest_um",
        "um",
        "SDAS, finest published relation",
        False,
        "lower",
        "Smallest SDAS that any published relation for Al-7Si-Mg gives at the median time.",
    ),
    Column(
        "sdas_coarsest_um",
        "um",
        "SDAS, coarsest published relation",
        False,
        "lower",
        "Largest SDAS that any published relation for Al-7Si-Mg gives at the median time.",
    ),
    Column(
        "feeding_margin",
        "-",
        "Feeding margin",
        True,
        "higher",
        "Cut-off time of the choke that feeds the zone over the zone's own; below 1 the zone is cut off.",
    ),
    Column("niyama", "(K s)^0.5/mm", "Niyama", True, "higher", "Niyama value along the way to the feeding zone."),
    Column("gas_porosity_pct", "%", "Gas porosity", True, "lower", "Gas part of the porosity, by volume."),
    Column("shrinkage_porosity_pct", "%", "Shrinkage porosity", True, "lower", "Shrinkage part, by volume."),
    Column("porosity_pct", "%", "Porosity", True, "lower", "Gas and shrinkage together."),
    Column("pore_size_um", "um", "Mean pore size", True, "lower", "Equivalent diameter of the mean pore."),
    Column("largest_pore_um", "um", "Largest pore", True, "lower", "Largest pore expected in the stressed volume."),
    Column(
        "hydrogen_limit_ml_100g",
        "ml/100g",
        "Hydrogen limit",
        False,
        "higher",
        "Hydrogen at which the zone would still meet its porosity limit at the median; at most the 0.40 that the "
        "estimate reaches.",
    ),
    Column("ys_mpa", "MPa", "Yield strength", True, "higher", "0.2 % proof stress."),
    Column("uts_mpa", "MPa", "Tensile strength", True, "higher", "Ultimate tensile strength."),
    Column("elongation_pct", "%", "Elongation", True, "higher", "Elongation to fracture."),
    Column("hardness_hb", "HB", "Hardness", True, "", "Brinell hardness that belongs to the yield strength."),
    Column("quality_index_mpa", "MPa", "Quality index", True, "higher", "Drouzy quality index."),
    Column(
        "fatigue_strength_mpa",
        "MPa",
        "Fatigue strength",
        True,
        "higher",
        "Amplitude at 1e7 cycles, fully reversed, from the largest pore.",
    ),
    Column("risk", "", "Risk", False, "", "Worst verdict of the zone against its limits."),
)

BY_NAME: dict[str, Column] = {column.name: column for column in COLUMNS}
PREDICTED: tuple[str, ...] = tuple(column.name for column in COLUMNS if column.predicted)

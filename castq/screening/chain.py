"""The chain: freezing -> structure -> soundness -> properties, zone by zone and draw by draw.

Arrays have one row a zone and one column a draw. Each stage runs under its own trace, so that a use outside a
relation's range is known zone by zone and reaches exactly the numbers that rest on it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castq.core.relation import REGISTRY, Trace, row_states, trace
from castq.core.sampling import Draws
from castq.materials.types import Alloy
from castq.physics.ageing import reduced_ageing_time
from castq.physics.ductility import elongation, iron_factor, modification_factor
from castq.physics.fatigue import fatigue_strength, pore_sqrt_area
from castq.physics.freezing import mean_cooling_rate
from castq.physics.hardness import hardness_from_yield, hardness_from_yield_t6
from castq.physics.niyama import dimensionless_niyama, niyama_from_times
from castq.physics.pore_size import defect_area_fraction, largest_pore_diameter, mean_pore_diameter
from castq.physics.porosity import gas_porosity, gas_porosity_bound, metal_pressure, site_factor
from castq.physics.quality import quality_drouzy
from castq.physics.shrinkage import STEP_MARGIN, feeding_margin, open_share, shrinkage_porosity
from castq.physics.strength import TEMPERS, temper_name, tensile_strength, yield_strength
from castq.physics.structure import sdas_cube_root
from castq.screening.freezing import Freezing, freeze
from castq.screening.solid_records import ZoneAnchors
from castq.screening.types import Calibration, Case, Melt, Tool, Treatment
from castq.screening.uncertain import draw_all, effect

Array = NDArray[np.float64]
States = NDArray[np.int8]

WALL_RELATION = "wall-transient-1d"
PORES_PER_MM3 = 5.0
DEFECT_CONCENTRATION = 5.0
DEFECT_DECAY = 18.0
TIMES = ("local_solidification_time_s", "solid_time_s", "cutoff_time_s")
# What rests on the solved field leans on the wall relation for its bands alone: beyond its range they are widened.
BAND_ONLY = 1
# Rows of one block: keeps a block's arrays inside the processor's cache.
BLOCK_VALUES = 32_768
# What the soundness stage keeps beside its numbers: pressure of the metal, and the factor on the estimate of gas.
KEPT = ("metal_pressure_atm", "gas_factor")
# Which numbers rest on which stage, stage by stage down the chain.
STAGES: dict[str, tuple[str, ...]] = {
    "freezing": ("local_solidification_time_s", "solid_time_s", "cutoff_time_s", "cooling_rate_k_per_s"),
    "feeding": ("feeding_margin", "niyama"),
    "structure": ("sdas_um",),
    "soundness": ("gas_porosity_pct", "shrinkage_porosity_pct", "porosity_pct", "pore_size_um", "largest_pore_um"),
    "strength": ("ys_mpa", "hardness_hb"),
    "ductility": ("elongation_pct", "uts_mpa", "quality_index_mpa"),
    "fatigue": ("fatigue_strength_mpa",),
}  # fmt: skip
RESTS_ON: dict[str, tuple[str, ...]] = {
    "freezing": (),
    "feeding": ("freezing",),
    "structure": ("freezing",),
    "soundness": ("freezing", "feeding", "structure"),
    "strength": ("freezing", "feeding", "structure", "soundness"),
    "ductility": ("freezing", "feeding", "structure", "soundness", "strength"),
    "fatigue": ("freezing", "feeding", "structure", "soundness"),
}


@dataclass(frozen=True, slots=True, eq=False)
class Zones:
    """Zones as arrays (zones,).

    Attributes
    ----------
    roles : tuple of str
        Role of each zone.
    wall_mm, choke_mm : array
        Equivalent wall at the thick end and at the choke [mm].
    feeder : int array
        Row of the feeding zone; -1 for the gate.
    distance_mm : array
        Distance to the middle of the feeding zone [mm]; NaN when unknown.
    """

    roles: tuple[str, ...]
    wall_mm: Array
    choke_mm: Array
    feeder: NDArray[np.int64]
    distance_mm: Array


@dataclass(frozen=True, slots=True, eq=False)
class Settings:
    """What all zones share: alloy, melt, tool, treatment and the plant's constants."""

    alloy: Alloy
    melt: Melt
    tool: Tool
    treatment: Treatment
    calibration: Calibration


def settings_of(case: Case) -> Settings:
    """Return what all zones and places of a case share."""
    return Settings(case.alloy, case.melt, case.tool, case.treatment, case.calibration)


@dataclass(slots=True, eq=False)
class ChainResult:
    """Draws of every predicted quantity, arrays (zones, draws), and the trace of each stage."""

    samples: dict[str, Array]
    traces: dict[str, Trace] = field(default_factory=dict)

    def states(self, quantity: str, zones: int) -> NDArray[np.int8]:
        """Return for each zone how far outside a range the relations behind `quantity` were used."""
        stage = next(name for name, gives in STAGES.items() if quantity in gives)
        found = np.zeros(zones, dtype=np.int8)
        for name in (stage, *RESTS_ON[stage]):
            for rows in self.traces[name].excursions.values():
                found = np.maximum(found, rows)
        return found


def run_chain(zones: Zones, settings: Settings, draws: Draws, anchors: ZoneAnchors | None = None) -> ChainResult:
    """Run the chain over all zones and draws.

    Parameters
    ----------
    zones : Zones
        The zones.
    settings : Settings
        What they share.
    draws : dict of name to array (draws,)
        Standard-normal draws; count 1 gives the medians.
    anchors : ZoneAnchors, optional
        What the solved field says of each zone; the walls then only tell how it moves with the draws.

    Returns
    -------
    ChainResult
        Draws of every predicted quantity in the unit of its column.

    Raises
    ------
    InputError
        If a wall never freezes.
    """
    result = ChainResult({}, {name: Trace() for name in STAGES})
    _freezing(zones, settings, draws, result, anchors)
    return _completed(result, settings, draws)


def run_places(values: Mapping[str, Array], settings: Settings) -> ChainResult:
    """Run what rests on freezing and feeding for single places, at the medians.

    Parameters
    ----------
    values : mapping of name to array (places,)
        `local_solidification_time_s`, `niyama`, `path_margin` and `shrinkage_margin`, as the zones have them.
    settings : Settings
        What the places share.

    Returns
    -------
    ChainResult
        Arrays (places, 1) in the unit of their column.
    """
    result = ChainResult({name: one[:, None] for name, one in values.items()}, {name: Trace() for name in STAGES})
    return _completed(result, settings, draw_all(1, 0))


def _completed(result: ChainResult, settings: Settings, draws: Draws) -> ChainResult:
    """Fill in what rests on freezing and feeding, block by block."""
    total, count = result.samples["local_solidification_time_s"].shape
    later = [*(name for stage in _STEPS for name in STAGES[stage]), *KEPT]
    for name in later:
        result.samples[name] = np.empty((total, count))
    for rows in _blocks(total, count):
        block = {name: values[rows] for name, values in result.samples.items() if name not in later}
        _downstream(block, settings, draws, result, rows)
        for name in later:
            result.samples[name][rows] = block[name]
    return result


def _blocks(rows: int, count: int) -> Iterator[slice]:
    step = max(1, BLOCK_VALUES // count)
    for start in range(0, rows, step):
        yield slice(start, min(start + step, rows))


def _note(result: ChainResult, stage: str, seen: Trace, rows: slice, total: int) -> None:
    """Enter a block's trace into the trace of the whole stage."""
    kept = result.traces[stage]
    for name, uses in seen.used.items():
        kept.used[name] = kept.used.get(name, 0) + uses
    for key, states in seen.excursions.items():
        whole = kept.excursions.setdefault(key, np.zeros(total, dtype=np.int8))
        whole[rows] = np.maximum(whole[rows], states)


def _freezing(zones: Zones, settings: Settings, draws: Draws, result: ChainResult, anchors: ZoneAnchors | None) -> None:
    walls = np.concatenate([zones.wall_mm, zones.choke_mm])
    # A solved field is held against the middle of all draws: one more column, which leads.
    drawn = draws if anchors is None else {name: np.append(0.0, values) for name, values in draws.items()}
    frozen = freeze(
        walls, zones.roles * 2, alloy=settings.alloy, melt=settings.melt, tool=settings.tool, draws=drawn,
        calibration=settings.calibration,
    )  # fmt: skip
    with trace() as feeding:
        samples = _margins(zones, frozen)
        if anchors is not None:
            samples = _anchored(samples, anchors)
    with trace() as seen:
        rate = mean_cooling_rate(settings.alloy.freezing_range_k, samples["local_solidification_time_s"])
        if anchors is None:
            samples["niyama"] = _zone_niyama(zones, samples["solid_time_s"], rate)
    samples["cooling_rate_k_per_s"] = rate
    _note_walls(zones, settings, result, seen, feeding, anchors is not None)
    result.samples.update(samples)


def _zone_niyama(zones: Zones, solid_s: Array, rate_k_s: Array) -> Array:
    """Return the Niyama value toward the feeding zone: none where that is solid first."""
    later = (solid_s[zones.feeder] - solid_s) / zones.distance_mm[:, None]
    fed = (zones.feeder >= 0)[:, None]
    return np.where(fed & (later > 0.0), niyama_from_times(rate_k_s, later), np.nan)


def _margins(zones: Zones, frozen: Freezing) -> dict[str, Array]:
    """Return times and margins of the walls; pressure and the shrinkage relation take these margins as they are."""
    n = len(zones.roles)
    rows = (frozen.local_solidification_s[:n], frozen.solid_s[:n], frozen.cutoff_s[:n])
    times, choke = dict(zip(TIMES, rows, strict=True)), frozen.cutoff_s[n:]
    closing = np.where((zones.feeder >= 0)[:, None], choke[zones.feeder], np.inf)
    margin = feeding_margin(closing, times["cutoff_time_s"])
    # Pressure reaches a zone until the first choke on its whole way closes: one that closes after the zone itself
    # takes nothing from it.
    on_way = feeding_margin(_along_path(closing, zones.feeder, np.minimum), times["cutoff_time_s"])
    return {**times, "feeding_margin": margin, "path_margin": on_way, "shrinkage_margin": margin}


def _anchored(walls: dict[str, Array], anchors: ZoneAnchors) -> dict[str, Array]:
    """Return times and margins of the solved field, moved by the draws as those of the walls are.

    The walls lead with the middle of the draws; what is returned is without it.
    """
    moved = {name: walls[name][:, 1:] / walls[name][:, :1] for name in TIMES}
    samples = {name: getattr(anchors, name)[:, None] * factor for name, factor in moved.items()}
    margin = walls["feeding_margin"]
    with np.errstate(invalid="ignore"):
        turn = np.where(np.isfinite(margin[:, 1:]), margin[:, 1:] / margin[:, :1], 1.0)
    cut = _at_nodes(anchors.cut_share, anchors.nodes, 1.0 / turn)
    return {
        **samples,
        "feeding_margin": anchors.feeding_margin[:, None] * turn,
        "path_margin": turn * _at_nodes(anchors.reach, anchors.nodes, 1.0 / turn),
        # The shrinkage relation reads this margin as all fed and 1 as all cut off: a share of the metal lies between.
        "shrinkage_margin": STEP_MARGIN - (STEP_MARGIN - 1.0) * cut,
        # Times that all stretch alike change the root of the rate by one over the root, the slope in proportion.
        "niyama": anchors.niyama[:, None] * np.sqrt(moved["local_solidification_time_s"]),
    }


def _at_nodes(rows: Array, nodes: Array, at: Array) -> Array:
    """Return rows given at nodes, read at places of their own."""
    return np.stack([np.interp(places, nodes, row) for places, row in zip(at, rows, strict=True)])


def _note_walls(
    zones: Zones, settings: Settings, result: ChainResult, seen: Trace, feeding: Trace, solid: bool
) -> None:
    """Enter where the wall relation was used outside its range, and what rests on that."""
    n, way = len(zones.roles), Trace()
    seen.used[WALL_RELATION] = 1
    walls = np.concatenate([zones.wall_mm, zones.choke_mm])
    for key, every in _wall_states(walls, zones.roles * 2, settings).items():
        states = np.minimum(every, BAND_ONLY).astype(np.int8) if solid else every
        seen.excursions[key] = states[:n]
        # A margin rests on the zone that feeds; the pressure in a zone on the whole way to the gate.
        source = np.maximum(states[:n], states[n:])
        feeding.excursions[key] = np.where(zones.feeder >= 0, source[zones.feeder], 0).astype(np.int8)
        way.excursions[key] = _along_path(feeding.excursions[key], zones.feeder, np.maximum)
    for stage, noted in (("freezing", seen), ("feeding", feeding), ("soundness", way)):
        _note(result, stage, noted, slice(None), n)


def _wall_states(walls_mm: Array, roles: tuple[str, ...], settings: Settings) -> dict[tuple[str, str], States]:
    """Return for each bounded argument of the wall solution how far each wall is outside its range."""
    tool, film = settings.tool, settings.calibration.interface_factor
    given = {
        "wall_mm": walls_mm,
        "contact_w_m2k": np.array([film * tool.contact_w_m2k[role] for role in roles]),
        "gap_w_m2k": np.array([film * tool.gap_w_m2k[role] for role in roles]),
        "die_temp_c": np.array([tool.die_temp_c[role] for role in roles]),
    }
    states = {name: row_states(given[name], limits) for name, limits in REGISTRY[WALL_RELATION].valid.items()}
    return {(WALL_RELATION, name): np.broadcast_to(rows, walls_mm.shape) for name, rows in states.items()}


def _along_path(values: NDArray[Any], feeder: NDArray[np.int64], pick: np.ufunc) -> NDArray[Any]:
    """Return what `pick` keeps of the values (zones, ...) met on the way from each zone to the gate."""
    path, at = values, feeder
    while (at >= 0).any():
        met = (at >= 0).reshape(-1, *[1] * (values.ndim - 1))
        path = np.where(met, pick(path, values[at]), path)
        at = np.where(at >= 0, feeder[at], -1)
    return path


def _downstream(values: dict[str, Array], settings: Settings, draws: Draws, result: ChainResult, rows: slice) -> None:
    total = len(result.samples["local_solidification_time_s"])
    for stage, step in _STEPS.items():
        with trace() as seen:
            step(values, settings, draws)
        _note(result, stage, seen, rows, total)


def _structure(values: dict[str, Array], settings: Settings, draws: Draws) -> None:
    plant = settings.calibration
    sdas = sdas_cube_root(values["local_solidification_time_s"], plant.sdas_prefactor_um)
    values["sdas_um"] = sdas * effect(draws, "SDAS relation", plant.one_sigma)


def _soundness(values: dict[str, Array], settings: Settings, draws: Draws) -> None:
    melt, tool, plant = settings.melt, settings.tool, settings.calibration
    hydrogen = np.maximum(melt.hydrogen_ml_100g + effect(draws, "hydrogen", plant.one_sigma), 0.0)
    pressure = metal_pressure(tool.metal_head_mm, tool.hold_pressure_bar, open_share(values["path_margin"]))
    sites = site_factor(melt.strontium_ppm, melt.cleanliness)
    gas = gas_porosity(hydrogen, values["local_solidification_time_s"], values["sdas_um"], pressure, sites)
    factor = plant.porosity_factor * effect(draws, "gas porosity estimate", plant.one_sigma)
    gas = np.minimum(gas * factor, gas_porosity_bound(hydrogen, pressure))
    alloy = settings.alloy
    star = dimensionless_niyama(
        values["niyama"], values["sdas_um"], pressure, alloy.shrinkage_pct, alloy.freezing_range_k
    )
    shrinkage = shrinkage_porosity(values["shrinkage_margin"], star, alloy.shrinkage_pct, alloy.cutoff_fs)
    shrinkage = shrinkage * effect(draws, "shrinkage estimate", plant.one_sigma)
    porosity = gas + shrinkage
    mean = mean_pore_diameter(porosity, PORES_PER_MM3 * effect(draws, "pore count", plant.one_sigma))
    values.update(
        gas_porosity_pct=gas, shrinkage_porosity_pct=shrinkage, porosity_pct=porosity, pore_size_um=mean,
        largest_pore_um=largest_pore_diameter(mean), metal_pressure_atm=pressure, gas_factor=factor,
    )  # fmt: skip


def _strength(values: dict[str, Array], settings: Settings, draws: Draws) -> None:
    treatment = settings.treatment
    temper = temper_name(treatment.temper, settings.alloy.heat_treatable)
    aged = reduced_ageing_time(treatment.ageing_time_h, treatment.ageing_temp_c) if temper == "T6" else 0.0
    ys = yield_strength(
        temper, values["sdas_um"], settings.melt.magnesium_wt_pct, aged, treatment.quench_rate_k_s,
        values["porosity_pct"],
    )  # fmt: skip
    ys = np.maximum(ys + effect(draws, "yield strength", settings.calibration.one_sigma), 1.0)
    hardness = hardness_from_yield_t6 if temper == "T6" else hardness_from_yield
    values.update(ys_mpa=ys, hardness_hb=hardness(ys))


def _ductility(values: dict[str, Array], settings: Settings, draws: Draws) -> None:
    melt, plant, treatment = settings.melt, settings.calibration, settings.treatment
    temper = TEMPERS[temper_name(treatment.temper, settings.alloy.heat_treatable)]
    share = DEFECT_CONCENTRATION * effect(draws, "defect share on the fracture", plant.one_sigma)
    factor = plant.elongation_factor * temper.elongation_factor * effect(draws, "elongation", plant.one_sigma)
    factor = factor * modification_factor(melt.strontium_ppm, treatment.solution_time_h) * iron_factor(melt.iron_wt_pct)
    strain = elongation(
        values["sdas_um"], values["ys_mpa"], defect_area_fraction(values["porosity_pct"], share),
        DEFECT_DECAY * effect(draws, "defect sensitivity", plant.one_sigma), factor,
    )  # fmt: skip
    uts = tensile_strength(values["ys_mpa"], strain, effect(draws, "work hardening", plant.one_sigma))
    values.update(elongation_pct=strain, uts_mpa=uts, quality_index_mpa=quality_drouzy(uts, strain))


def _fatigue(values: dict[str, Array], settings: Settings, draws: Draws) -> None:
    strength = fatigue_strength(values["sdas_um"], pore_sqrt_area(values["largest_pore_um"]))
    values["fatigue_strength_mpa"] = strength * effect(draws, "fatigue strength", settings.calibration.one_sigma)


_STEPS = {
    "structure": _structure,
    "soundness": _soundness,
    "strength": _strength,
    "ductility": _ductility,
    "fatigue": _fatigue,
}


def feeding_rows(names: Mapping[str, int], feeds_from: tuple[str, ...]) -> NDArray[np.int64]:
    """Return the row of each zone's feeder, -1 for the gate."""
    return np.array([names.get(feeder, -1) for feeder in feeds_from], dtype=np.int64)

"""The levers of castq: shape, tool, melt, cooling and cycle; and for each case which of them it has.

Steps are what a foundry would try first around the present value; common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from castq.core.errors import CastqError
from castq.geometry.wheel_design import WheelDesign
from castq.screening.lever_parts import cooling_levers, cycle_levers
from castq.screening.levers import LeftOut, Lever, State, between
from castq.screening.types import CoatingLayer

# A die closer to the end of freezing than this is not tried, nor a melt closer to the liquidus [K].
DIE_BELOW_END_K = 60.0
MELT_ABOVE_LIQUIDUS_K = 40.0
COLDEST_DIE_C, HOTTEST_MELT_C = 150.0, 780.0
# Coatings that the interface relation is made for [um].
COATING_UM = (10.0, 400.0)
HYDROGEN_WORDS = (
    "Hydrogen comes down by degassing and by dry charge and tools, and comes back with time in damp air. Never shorten "
    "a degassing or settling time that your procedure requires; take a sample before tapping; whatever touches the "
    "melt must be dry and preheated."
)
PRESSURE_WORDS = (
    "More hold pressure presses melt into parting lines and vents and finds leaks at riser tube and furnace lid. Stay "
    "within what furnace, tube and die are approved for, and keep people away from the parting line while it is on."
)
MELT_WORDS = "A hotter melt takes up more hydrogen and burns worse; a colder one may misrun. Keep to your procedure."
COAT_WORDS = "Coating is renewed on a closed-down, hot die: follow the supplier's sheet for dust, spray and burns."


def levers_of(state: State) -> tuple[tuple[Lever, ...], tuple[LeftOut, ...]]:
    """Return the levers that a case has, and those that it does not have with the reason.

    Parameters
    ----------
    state : State
        The case as it is.

    Returns
    -------
    tuple of Lever, tuple of LeftOut
        In the order of the table.
    """
    found: list[Lever] = []
    left_out: list[LeftOut] = []
    for group in (_shape, _tool, _die, _melt, cooling_levers, cycle_levers):
        for entry in group(state):
            if isinstance(entry, Lever):
                found.append(entry)
            else:
                left_out.append(entry)
    return tuple(found), tuple(left_out)


def grid_lever(state: State) -> Lever | None:
    """Return the voxel size as a lever: no advice, it tells how far a gain rests on the grid; None without a shape.

    Parameters
    ----------
    state : State
        The case as it is.
    """
    if state.measuring is None or state.wheel is None:
        return None

    def value(now: State) -> float:
        return now.measuring.voxel_mm if now.measuring else float("nan")

    def moved(now: State, voxel_mm: float) -> State:
        return replace(now, measuring=now.measuring and replace(now.measuring, voxel_mm=voxel_mm))

    return Lever("voxel", "Voxel size", "length_mm", "the grid alone", 0.1, value, moved, between(0.3, 10.0), "nothing")


# --- shape


def _wheel(state: State) -> WheelDesign:
    if state.wheel is None:
        raise CastqError("a lever of the shape was asked for on a wheel that has no measures")
    return state.wheel


def _measure(field: str) -> tuple[Callable[[State], float], Callable[[State, float], State]]:
    """Return how one measure of the wheel is read and moved."""

    def moved(state: State, value: float) -> State:
        changed: dict[str, Any] = {field: value}
        return replace(state, wheel=replace(_wheel(state), **changed))

    return lambda state: float(getattr(_wheel(state), field)), moved


def _thickness(state: State) -> float:
    wheel = _wheel(state)
    return 0.5 * (wheel.spoke_thickness_hub_mm + wheel.spoke_thickness_rim_mm)


def _taper(state: State) -> float:
    wheel = _wheel(state)
    return wheel.spoke_thickness_hub_mm - wheel.spoke_thickness_rim_mm


def _spoke(state: State, at_hub_mm: float, at_rim_mm: float) -> State:
    """Return the state with the spoke's ends thicker by so much [mm]."""
    wheel = _wheel(state)
    hub, rim = wheel.spoke_thickness_hub_mm + at_hub_mm, wheel.spoke_thickness_rim_mm + at_rim_mm
    return replace(state, wheel=replace(wheel, spoke_thickness_hub_mm=hub, spoke_thickness_rim_mm=rim))


def _thicker(state: State, value: float) -> State:
    step = value - _thickness(state)
    return _spoke(state, step, step)


def _tapered(state: State, value: float) -> State:
    half = 0.5 * (value - _taper(state))
    return _spoke(state, half, -half)


def _shape(state: State) -> Iterator[Lever | LeftOut]:
    levers = (
        Lever("spoke_thickness", "Spoke thickness", "length_mm", "mean of hub and rim end; both move alike", 3.0,
              _thickness, _thicker, between(8.0, 60.0), "new die inserts, weight, look and stiffness to be proved"),
        Lever("spoke_taper", "Spoke taper", "length_mm", "thickness at the hub less that at the rim; the mean stays",
              6.0, _taper, _tapered, between(-30.0, 40.0), "new die inserts, stiffness to be proved"),
        Lever("hub_fillet", "Fillet at the hub", "length_mm", "extra width and thickness of the spoke at the hub", 4.0,
              *_measure("hub_root_mm"), between(0.0, 40.0), "machining of the die, notch effect to be proved"),
        Lever("rim_fillet", "Fillet at the rim", "length_mm", "extra width and thickness of the spoke at the rim", 4.0,
              *_measure("rim_root_mm"), between(0.0, 40.0), "machining of the die, notch effect to be proved"),
        Lever("pocket_depth", "Pocket depth", "length_mm", "depth of the back pocket at its thickest station", 3.0,
              *_measure("pocket_depth_mm"), between(0.0, 40.0), "new top core, stiffness to be proved"),
    )  # fmt: skip
    for lever in levers:
        if state.wheel is None:
            yield LeftOut(lever.label, "the shape is fixed: give the wheel's measures in a table [wheel] instead")
        elif lever.name == "pocket_depth" and state.wheel.pocket_depth_mm == 0.0:
            yield LeftOut(lever.label, "the wheel has no pocket")
        else:
            yield lever


# --- tool


def _tool_value(field: str) -> tuple[Callable[[State], float], Callable[[State, float], State]]:
    def moved(state: State, value: float) -> State:
        changed: dict[str, Any] = {field: value}
        return replace(state, case=replace(state.case, tool=replace(state.case.tool, **changed)))

    return lambda state: float(getattr(state.case.tool, field)), moved


def roles_of(state: State) -> tuple[str, ...]:
    """Return the places on the wheel that the case has zones of."""
    return tuple(dict.fromkeys(section.role for section in state.case.sections))


def _mean(state: State, by_role: Mapping[str, float]) -> float:
    roles = roles_of(state)
    return sum(by_role[role] for role in roles) / len(roles)


def _layer(state: State) -> CoatingLayer:
    if state.case.tool.coating is None:
        raise CastqError("the coating was asked for on a die that has none")
    return state.case.tool.coating


def _recoated(state: State, value: float) -> State:
    """Return the state with the mean coating at a thickness [um]; each place changes by the same amount."""
    tool, layer = state.case.tool, _layer(state)
    step = value - _mean(state, layer.thickness_um)
    # Layers stand in series: what is added to the coat is added to the resistance, in contact and across the gap.
    added = 1e-6 * step / layer.k_w_mk
    contact = {role: 1.0 / (1.0 / h + added) for role, h in tool.contact_w_m2k.items()}
    gap = {role: 1.0 / (1.0 / h + added) for role, h in tool.gap_w_m2k.items()}
    coat = replace(layer, thickness_um={role: um + step for role, um in layer.thickness_um.items()})
    return replace(state, case=replace(state.case, tool=replace(
        tool, contact_w_m2k=contact, gap_w_m2k=gap, coating=coat)))  # fmt: skip


def _coat_range(state: State) -> tuple[float, float]:
    """Return the means at which no place leaves the range of the interface relation [um]."""
    thickness, mean = _layer(state).thickness_um.values(), _mean(state, _layer(state).thickness_um)
    return COATING_UM[0] + mean - min(thickness), COATING_UM[1] + mean - max(thickness)


def _interface(state: State, value: float) -> State:
    """Return the state with both interface coefficients at a share of their present values [%]."""
    tool = state.case.tool
    contact = {role: 0.01 * value * h for role, h in tool.contact_w_m2k.items()}
    gap = {role: 0.01 * value * h for role, h in tool.gap_w_m2k.items()}
    return replace(state, case=replace(state.case, tool=replace(tool, contact_w_m2k=contact, gap_w_m2k=gap)))


def _tool(state: State) -> Iterator[Lever | LeftOut]:
    yield Lever("die_wall", "Die wall", "length_mm", "die behind the casting, everywhere", 10.0,
                *_tool_value("die_wall_mm"), between(15.0, 150.0), "a new die, or milling of the old one")  # fmt: skip
    if state.case.tool.coating is not None:
        yield Lever("coating", "Coating thickness", "length_um", "mean over the wheel; each place moves alike", 50.0,
                    lambda now: _mean(now, _layer(now).thickness_um), _recoated, _coat_range,
                    "coating work, surface roughness", COAT_WORDS)  # fmt: skip
    else:
        yield LeftOut("Coating thickness", "the case gives no coating, so the interface coefficient stands for it")
        yield Lever("interface", "Interface coefficient", "percent", "share of the present value, everywhere", 20.0,
                    lambda now: 100.0, _interface, between(50.0, 200.0),
                    "another coating or contact; surface roughness", COAT_WORDS)  # fmt: skip
    if state.case.tool.route == "gravity":
        yield LeftOut("Hold pressure", "gravity casting has none")
    else:
        yield Lever("hold_pressure", "Hold pressure", "pressure_bar", "gauge pressure while the path is open", 0.2,
                    *_tool_value("hold_pressure_bar"), between(0.2, 1.5), "flash, tube and lid wear",
                    PRESSURE_WORDS)  # fmt: skip


def _heated(state: State, roles: tuple[str, ...], step_k: float) -> State:
    tool = state.case.tool
    warmer = {role: temp + step_k * (role in roles) for role, temp in tool.die_temp_c.items()}
    return replace(state, case=replace(state.case, tool=replace(tool, die_temp_c=warmer)))


def _die(state: State) -> Iterator[Lever | LeftOut]:
    """Yield the die temperature overall and place by place; both add to what the case gives."""
    base, hottest = state.case.tool.die_temp_c, state.case.alloy.end_of_freezing_c - DIE_BELOW_END_K
    here = [base[role] for role in roles_of(state)]
    mean = _mean(state, base)
    yield Lever(
        "die_temp", "Die start temperature", "temperature_c", "mean over the wheel; each place moves alike", 20.0,
        lambda now: _mean(now, now.case.tool.die_temp_c),
        lambda now, value: _heated(now, tuple(base), value - mean),
        between(COLDEST_DIE_C + mean - min(here), hottest + mean - max(here)),
        "another thermal balance of the tool: cooling, spray, cycle",
    )  # fmt: skip
    for role in roles_of(state):
        yield _die_at(role, base[role], hottest)


def _die_at(role: str, present_c: float, hottest_c: float) -> Lever:
    return Lever(
        f"die_temp.{role}", f"Die at {role}", "temperature_c", "start temperature of the die at this place alone", 20.0,
        lambda now: now.case.tool.die_temp_c[role],
        lambda now, value: _heated(now, (role,), value - present_c),
        between(COLDEST_DIE_C, hottest_c), "local cooling or insulation at this place",
    )  # fmt: skip


# --- melt


def _melt_value(field: str) -> tuple[Callable[[State], float], Callable[[State, float], State]]:
    def moved(state: State, value: float) -> State:
        changed: dict[str, Any] = {field: value}
        return replace(state, case=replace(state.case, melt=replace(state.case.melt, **changed)))

    return lambda state: float(getattr(state.case.melt, field)), moved


def _melt(state: State) -> Iterator[Lever | LeftOut]:
    coldest = state.case.alloy.liquidus_c + MELT_ABOVE_LIQUIDUS_K
    yield Lever("hydrogen", "Melt hydrogen", "hydrogen_ml_100g", "dissolved hydrogen at pouring", 0.03,
                *_melt_value("hydrogen_ml_100g"), between(0.04, 0.40), "degassing time and gas",
                HYDROGEN_WORDS)  # fmt: skip
    yield Lever("melt_temp", "Melt temperature", "temperature_c", "pouring temperature", 10.0,
                *_melt_value("melt_temp_c"), between(coldest, HOTTEST_MELT_C), "energy; filling of thin walls",
                MELT_WORDS)  # fmt: skip

"""What can be changed on a wheel, its tool and its melt: one record a lever, each of which can be read and moved."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from castq.core.errors import input_error, nearest
from castq.screening.types import Case

if TYPE_CHECKING:
    from castq.geometry.wheel_design import WheelDesign
    from castq.geometry.zones import ZoneBox

Depth = Literal["section", "solid"]
# (lever, value) pairs, sorted by lever: everything in which a variant differs from the case.
Change = tuple[tuple[str, float], ...]
DIGITS = 9


@dataclass(frozen=True, slots=True)
class Measuring:
    """How a shape is measured.

    Attributes
    ----------
    voxel_mm : float
        Voxel size [mm].
    axis : tuple of 3 float or None
        Direction of the wheel axis; found from the shape when None [-].
    outboard : {1, -1} or None
        Which way along the axis the outboard face looks; found from the shape when None [-].
    overrides : tuple of ZoneBox
        Zones given by hand.
    facet_mm : float
        Edge that few facets of a wheel built from its measures exceed [mm].
    """

    voxel_mm: float
    axis: tuple[float, float, float] | None
    outboard: int | None
    overrides: tuple[ZoneBox, ...]
    facet_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class State:
    """A design that levers act on: the case, the wheel's measures when it was built from them, and the depth.

    Attributes
    ----------
    case : Case
        The case.
    depth : {"section", "solid"}
        How it is solved.
    wheel : WheelDesign or None
        The wheel's measures; None when its shape comes from a file or a table.
    measuring : Measuring or None
        How its shape is measured; None when it comes from a section table.
    """

    case: Case
    depth: Depth = "section"
    wheel: WheelDesign | None = None
    measuring: Measuring | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Lever:
    """One thing that can be changed.

    Attributes
    ----------
    name : str
        Word for the command line.
    label : str
        Words for a report.
    kind : str
        Kind of quantity, a key of `castq.core.quantities.KINDS`; sets the unit.
    moves : str
        What it changes.
    step : float
        Step to either side of the present value, in the unit.
    value : callable
        Returns the present value of a state.
    moved : callable
        Returns the state with the lever at a value.
    range : callable
        Returns the lowest and the highest value that a state allows.
    cost : str
        What it costs, beside weight and cycle time.
    hazard : str
        What is dangerous about it; empty for nothing in particular.
    """

    name: str
    label: str
    kind: str
    moves: str
    step: float
    value: Callable[[State], float]
    moved: Callable[[State, float], State]
    range: Callable[[State], tuple[float, float]]
    cost: str
    hazard: str = ""

    def ends(self, state: State) -> tuple[float, float]:
        """Return the values one step below and above the present one, within the range."""
        present, (low, high) = self.value(state), self.range(state)
        ends = (max(present - self.step, min(low, present)), min(present + self.step, max(high, present)))
        return round(ends[0], DIGITS), round(ends[1], DIGITS)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A lever that this case does not have, and why."""

    label: str
    reason: str


def between(low: float, high: float) -> Callable[[State], tuple[float, float]]:
    """Return the range of a lever whose bounds hold for any case, in its unit."""
    return lambda state: (low, high)


def change_of(values: dict[str, float]) -> Change:
    """Return lever values as a change: sorted, each at nine decimals, so that equal changes are equal."""
    return tuple(sorted((name, round(float(value), DIGITS)) for name, value in values.items()))


def find_lever(name: str, levers: Sequence[Lever], left_out: Sequence[LeftOut], source: str) -> Lever:
    """Return the lever of a name, written with spaces, hyphens or underscores.

    Parameters
    ----------
    name : str
        As the user wrote it.
    levers : sequence of Lever
        Levers that the case has.
    left_out : sequence of LeftOut
        Levers that it does not have.
    source : str
        Option it came from, for the message.

    Raises
    ------
    InputError
        If there is none, with the reason or the nearest names.
    """
    wanted = as_key(name)
    for lever in levers:
        if as_key(lever.name) == wanted or as_key(lever.label) == wanted:
            return lever
    for missing in left_out:
        if as_key(missing.label) == wanted:
            raise input_error("command line", source, f"{missing.label} cannot be changed here", "", missing.reason)
    raise input_error(
        "command line", source, f"'{name}' is not a lever of this case", "", nearest(name, [v.name for v in levers])
    )


def as_key(text: str) -> str:
    """Return a lever's name without case, and with one underscore for each space, hyphen or underscore."""
    return "_".join(text.lower().replace("-", " ").replace("_", " ").split())


def apply(state: State, change: Change, levers: Sequence[Lever]) -> State:
    """Return the state with every lever of a change at its value.

    Parameters
    ----------
    state : State
        The case as it is.
    change : Change
        (lever, value) pairs.
    levers : sequence of Lever
        Levers that the case has.
    """
    known = {lever.name: lever for lever in levers}
    for name, value in change:
        state = known[name].moved(state, value)
    return state

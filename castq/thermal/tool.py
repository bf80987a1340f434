"""What a die has beside its walls: cooling circuits, cores, inserts and chills, gate and feeder heads, and its cycle.

Places are given in the wheel's own frame: z along the axis, zero half way along the wheel [mm].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from castq.geometry.mesh import Mesh
from castq.materials.types import DieMaterial

Point = tuple[float, float, float]
Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Ring:
    """A channel around the axis: radius and height of its middle line, bore [mm]."""

    radius_mm: float
    height_mm: float
    bore_mm: float


@dataclass(frozen=True, slots=True)
class Tube:
    """A straight channel from one point to another, bore [mm]; it repeats with the wheel's symmetry."""

    start_mm: Point
    end_mm: Point
    bore_mm: float


@dataclass(frozen=True, slots=True)
class Plug:
    """A blind hole cooled at its tip and two bores back: the tip, a point on its middle line outside, bore [mm]."""

    tip_mm: Point
    outside_mm: Point
    bore_mm: float


@dataclass(frozen=True, slots=True)
class Region:
    """All die between two radii and two heights [mm]; cooled throughout, with the area of its walls spread over it."""

    radius_mm: Span
    height_mm: Span


@dataclass(frozen=True, slots=True)
class Circuit:
    """A cooling circuit.

    Attributes
    ----------
    name : str
        Name in the report.
    shape : Ring, Tube, Plug or Region
        Where it runs.
    medium : {"air", "mist", "water"}
        What flows in it.
    coefficient_w_m2k : float
        Heat transfer coefficient on its wall while it is on [W/m2K].
    temp_c : float
        Temperature of the medium [degC].
    on_s : tuple of (from, to)
        Times from pouring between which it is on [s].
    """

    name: str
    shape: Ring | Tube | Plug | Region
    medium: Literal["air", "mist", "water"]
    coefficient_w_m2k: float
    temp_c: float
    on_s: tuple[Span, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """A sand core, an insert or a chill, or a drawn part of the die: another material in the place of the grown die.

    Attributes
    ----------
    name : str
        Name in the report.
    shape : Mesh or Region
        Where it stands [mm].
    material : DieMaterial
        What it is made of.
    start_temp_c : float or None
        Its temperature at the start; the die's where not given [degC].
    contact_w_m2k, gap_w_m2k : float or None
        Interface coefficient toward the casting; the die's where not given [W/m2K].
    """

    name: str
    shape: Mesh | Region
    material: DieMaterial
    start_temp_c: float | None = None
    contact_w_m2k: float | None = None
    gap_w_m2k: float | None = None


@dataclass(frozen=True, slots=True)
class FeederHead:
    """A round feeder head on a gravity casting: point on it, diameter, height along z, down if negative [mm]."""

    name: str
    foot_mm: Point
    diameter_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class Gate:
    """Where metal comes in: a disc across the axis at the hub [mm]; the face there gives no heat to the die.

    Attributes
    ----------
    radius_mm : float
        Radius of the sprue [mm].
    side : {1, -1} or 0
        Which way along z it looks; 0: toward the face side of the wheel.
    """

    radius_mm: float
    side: int = 0


@dataclass(frozen=True, slots=True)
class Cycle:
    """The production cycle, times of its phases in their order [s].

    Attributes
    ----------
    fill_s, hold_s, freeze_s, open_s, spray_s, close_s : float
        Filling; pressure held on the melt, from the end of filling; further time closed until the die opens; open with
        the casting ejected; spraying; closed and empty until the next shot [s].
    open_w_m2k, spray_w_m2k : float
        Heat transfer coefficient of the empty cavity while open and while sprayed [W/m2K].
    air_temp_c, spray_temp_c : float
        Temperatures that belong to them [degC].
    """

    fill_s: float
    hold_s: float
    freeze_s: float
    open_s: float
    spray_s: float
    close_s: float
    open_w_m2k: float = 30.0
    spray_w_m2k: float = 500.0
    air_temp_c: float = 40.0
    spray_temp_c: float = 60.0

    @property
    def closed_s(self) -> float:
        """From the start of filling until the die opens [s]."""
        return self.fill_s + self.hold_s + self.freeze_s

    @property
    def length_s(self) -> float:
        """From shot to shot [s]."""
        return self.closed_s + self.open_s + self.spray_s + self.close_s


@dataclass(frozen=True, slots=True, eq=False)
class ToolParts:
    """Everything beside the grown die; all of it may be left out.

    Attributes
    ----------
    circuits : tuple of Circuit
        Cooling.
    bodies : tuple of Body
        Cores, inserts, chills.
    die : tuple of Body
        Drawn parts of the die (for example bottom core, side segments, top core); the die is grown when there are none.
    feeders : tuple of FeederHead
        Feeder heads of a gravity casting.
    gate : Gate or None
        Gate at the hub; the hub as a whole feeds, and cools like any other place, when not given.
    cycle : Cycle or None
        Production cycle; one shot from the given die temperature when not given.
    """

    circuits: tuple[Circuit, ...] = ()
    bodies: tuple[Body, ...] = ()
    die: tuple[Body, ...] = ()
    feeders: tuple[FeederHead, ...] = ()
    gate: Gate | None = None
    cycle: Cycle | None = None

"""What the solid solver is given and what it leaves behind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from castq.thermal.heat_table import HeatTable
from castq.thermal.solid_grid import Links, Region

Array = NDArray[np.float64]
Places = NDArray[np.int64]
# Name of the surroundings of the die in the heat balance.
OUTER = "outer faces"


@dataclass(frozen=True, slots=True)
class Pace:
    """How long the steps are.

    Attributes
    ----------
    longest_s, shortest_s : float
        Bounds of a step [s].
    growth : float
        Step as a share of the time since pouring [-].
    explicit : bool
        One stage a step, as long as it is stable: the slow reference.
    single : bool
        Single precision for the fields.
    interface_share : float
        Step as a share of the fastest relaxation of casting and die toward each other [-].
    """

    longest_s: float = 1.0
    shortest_s: float = 0.03
    growth: float = 0.03
    explicit: bool = False
    single: bool = True
    interface_share: float = 0.45


@dataclass(frozen=True, slots=True, eq=False)
class Bath:
    """Surroundings that take heat from faces of one of the bodies.

    Attributes
    ----------
    name : str
        Name in the heat balance.
    place : int array (faces,)
        Flat places of the cells; a cell may stand here more than once.
    area : array (faces,)
        Area of each face, in voxel faces.
    half : array (faces,)
        Distance from the middle of the cell to the face, in voxels of the body's own conductivity.
    coefficient_w_m2k, temp_c : float
        Coefficient [W/m2K] and temperature of the bath [degC].
    on_s : tuple of (from, to)
        Times between which it takes heat [s].
    body : {"die", "casting"}
        Whose cells they are.
    """

    name: str
    place: Places
    area: Array
    half: Array
    coefficient_w_m2k: float
    temp_c: float
    on_s: tuple[tuple[float, float], ...] = ((0.0, np.inf),)
    body: Literal["die", "casting"] = "die"

    def is_on(self, seconds: float) -> bool:
        """Return whether it takes heat just after a time [s]."""
        return any(start <= seconds < end for start, end in self.on_s)


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """Casting, die and what is between and around them.

    Attributes
    ----------
    casting, die : Region
        The bodies.
    links : Links
        Surface between them.
    spacing_m : float
        Edge of a voxel [m].
    table : HeatTable
        The metal, one run.
    marks_j_m3 : array (EVENTS,)
        Enthalpy at liquidus, coherency, cut-off, for the gradient, and at the end of freezing [J/m3].
    mark_c : array (EVENTS,)
        Temperature at these [degC].
    start_j_m3 : float
        Enthalpy of the metal at the start [J/m3].
    switch_c : float
        Temperature of the skin at which it leaves the die [degC].
    contact_w_m2k, gap_w_m2k : array (links,)
        Interface coefficient before and after that [W/m2K].
    die_k_w_mk, die_j_m3k : float
        Conductivity and heat capacity of the die.
    die_temp_c : array (cells of the box,)
        Die at the start [degC].
    outer : tuple of int array, array
        Die cells with an outer face, and its area in voxel faces.
    outer_w_m2k, outer_temp_c : float
        Coefficient [W/m2K] and surroundings [degC] of the outer faces.
    baths : tuple of Bath
        Further surroundings: cooling circuits, air on bare metal.

    Notes
    -----
    A die of several materials is written in terms of `die_k_w_mk` and `die_j_m3k`: volumes, face weights and half
    distances of its region, links and baths are those of a like die of that one material.
    """

    casting: Region
    die: Region
    links: Links
    spacing_m: float
    table: HeatTable
    marks_j_m3: Array
    mark_c: Array
    start_j_m3: float
    switch_c: float
    contact_w_m2k: Array
    gap_w_m2k: Array
    die_k_w_mk: float
    die_j_m3k: float
    die_temp_c: Array
    outer: tuple[Places, Array]
    outer_w_m2k: float
    outer_temp_c: float
    baths: tuple[Bath, ...] = ()


@dataclass(slots=True, eq=False)
class March:
    """What a march leaves behind.

    Attributes
    ----------
    times_s : float32 array (EVENTS, casting cells)
        When each cell passes each mark [s]; NaN if it does not.
    gradient_k, rate_k_s : float32 array (casting cells,)
        Change of temperature over the length of a cell [K] and cooling rate [K/s] at the mark for them.
    link_c : array (links, 2)
        Highest and last temperature of the die's surface [degC].
    enthalpy_j_m3 : array (casting cells,)
        At the end.
    die_rise_k : array (die cells,)
        Rise since the start.
    die_c : array (die cells,)
        Temperature at the end [degC].
    baths_j : dict of str to float
        Heat taken by each bath, the outer faces among them [J].
    residual : float
        Heat taken up by die and surroundings less heat given by the casting, over the latter [-].
    reheat_k : float
        By how much any casting cell was, after a step, warmer than it and its neighbours were before and after it [K];
        rises of less than half a kelvin are not looked into.
    seconds_s : float
        Time at the end [s].
    steps, updates : int
        Long steps, and cell updates of both bodies.
    """

    times_s: NDArray[np.float32]
    gradient_k: NDArray[np.float32]
    rate_k_s: NDArray[np.float32]
    link_c: Array
    enthalpy_j_m3: Array
    die_rise_k: Array
    die_c: Array
    baths_j: dict[str, float]
    residual: float
    reheat_k: float
    seconds_s: float
    steps: int
    updates: int

"""The freezing front in time: small pictures of the same sections, one a moment, for the report's player."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from castq.report.section import both_sections
from castq.report.solid_states import TIMES, TimedSection, drawn, indexed_png, legend, pixels, timed_section
from castq.report.words import number, percent
from castq.screening.fields import WheelFields

if TYPE_CHECKING:
    from castq.screening.solid import SolidDepth

FRAMES = 41
# The share of metal that still passes feed metal in the frame shown while nothing plays, where no pool is cut off.
STILL_OPEN = 0.35
GAP_MM, RULE_MM = 12.0, 50.0
# Steps of 1/400 of the time, to each side, over which the closing of metal is evened out for the choice of frames.
EVEN_OVER = 10
# The wheel axis is drawn as a dash and a dot that repeat after this many pixels.
AXIS_PX = 16

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Front:
    """How the freezing of one wheel goes on, for any time.

    Attributes
    ----------
    sections : tuple of TimedSection
        Through a spoke and through a window.
    cutoff_s, metal_mm3 : array (cells,)
        Feeding cut-off of each cell [s], and its metal [mm3].
    island_s : array (cells,)
        When the pool of each cell is cut off; infinite where it never is [s].
    end_s : float
        When all is solid [s].
    """

    sections: tuple[TimedSection, ...]
    cutoff_s: Array
    metal_mm3: Array
    island_s: Array
    end_s: float

    def open_share(self, time_s: float) -> float:
        """Return the share of the metal that has not reached its feeding cut-off at a time [s]."""
        return float(self.metal_mm3[self.cutoff_s > time_s].sum() / self.metal_mm3.sum())

    def cut_off_cm3(self, time_s: float) -> float:
        """Return the metal that is still open at a time [s] but cut off from the feeder [cm3]."""
        return 1e-3 * float(self.metal_mm3[(self.cutoff_s > time_s) & (self.island_s <= time_s)].sum())

    def time_of_share(self, share: float) -> float:
        """Return the time at which a share of the metal is left open [s]."""
        order = np.argsort(self.cutoff_s)
        closed = np.cumsum(self.metal_mm3[order])
        place = int(np.searchsorted(closed, (1.0 - share) * closed[-1]))
        return float(self.cutoff_s[order[min(place, order.size - 1)]])


def has_times(wheel: WheelFields) -> bool:
    """Return whether a wheel carries the times that pictures of freezing need."""
    return all(name in wheel.fields for name in TIMES)


def front_of(wheel: WheelFields, solid: SolidDepth) -> Front:
    """Return the freezing front of a wheel.

    Parameters
    ----------
    wheel : WheelFields
        The wheel with the fields of `castq.report.solid_states.TIMES`.
    solid : SolidDepth
        Its liquid islands.

    Returns
    -------
    Front
        Sections and shares for any time.
    """
    root = solid.islands.root
    cuts = np.array([*(island.cut_s for island in solid.islands.each), np.inf])
    island = cuts[root]
    cutoff = wheel.fields["cutoff_time_s"]
    metal = np.isfinite(cutoff) & (wheel.zone_codes > 0)
    sections = tuple(timed_section(wheel, cut, island) for cut in both_sections(wheel))
    volume = wheel.grid.fraction[metal].astype(float) * float(wheel.grid.spacing_mm) ** 3
    # A hair later, so that rounding leaves nothing unfrozen in the last frame.
    end = 1.0001 * float(np.nanmax(wheel.fields["solid_time_s"]))
    return Front(sections, cutoff[metal].astype(float), volume, island[metal], end)


@dataclass(frozen=True, slots=True, eq=False)
class TimeLapse:
    """Frames for the player.

    Attributes
    ----------
    names : tuple of str
        What each picture of a frame shows: empty for one wheel, the designs for two.
    times_s : tuple of float
        Time of each frame [s].
    frames : tuple of tuple of bytes
        For each frame one PNG a wheel.
    words : tuple of str
        One line for each frame.
    still : int
        The frame shown while nothing plays.
    rule_share : float
        Width of the drawn scale, `RULE_MM`, over that of a picture [-].
    legend : list of (str, bytes)
        Words and swatch of each state.
    """

    names: tuple[str, ...]
    times_s: tuple[float, ...]
    frames: tuple[tuple[bytes, ...], ...]
    words: tuple[str, ...]
    still: int
    rule_share: float
    legend: list[tuple[str, bytes]]

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of a picture [pixels]."""
        head = self.frames[0][0][16:24]
        return int.from_bytes(head[:4], "big"), int.from_bytes(head[4:], "big")

    def payload(self) -> dict[str, Any]:
        """Return what the player reads: times, lines of words, and pictures in base64."""
        return {
            "times": [round(time, 1) for time in self.times_s],
            "words": list(self.words),
            "frames": [[base64.b64encode(png).decode("ascii") for png in frame] for frame in self.frames],
        }


def time_lapse(fronts: Mapping[str, Front], frames: int = FRAMES) -> TimeLapse:
    """Return the frames of one wheel, or of two on the same clock.

    Parameters
    ----------
    fronts : mapping of name to Front
        Wheels in the order of display.
    frames : int
        Number of moments, from pouring to solid [-].

    Returns
    -------
    TimeLapse
        For the report.
    """
    times = frame_times(tuple(fronts.values()), frames)
    first = next(iter(fronts.values()))
    still = _telling(tuple(fronts.values()), times)
    pictures = tuple(tuple(_frame(front, time) for front in fronts.values()) for time in times)
    several = len(fronts) > 1
    lines = tuple(_words(fronts, time, several) for time in times)
    wide = sum(section.cut.z_mm.size for section in first.sections) + pixels(GAP_MM)
    names = tuple(fronts) if several else ("",)
    return TimeLapse(names, times, pictures, lines, still, pixels(RULE_MM) / wide, legend())


def _telling(fronts: Sequence[Front], times: Sequence[float]) -> int:
    """Return the frame with the most metal cut off while still open; without any, one when much has closed."""
    cut = [sum(front.cut_off_cm3(time) for front in fronts) for time in times]
    if max(cut) > 0.0:
        return int(np.argmax(cut))
    return int(np.argmin(np.abs(np.array(times) - fronts[0].time_of_share(STILL_OPEN))))


def frame_times(fronts: Sequence[Front], frames: int) -> tuple[float, ...]:
    """Return the moments of the frames: closer together while much of the metal closes [s]."""
    end = float(np.ceil(max(front.end_s for front in fronts)))
    time = np.linspace(0.0, end, 400)
    closed = np.mean([[1.0 - front.open_share(at) for at in time.tolist()] for front in fronts], axis=0)
    # Evened out, so that metal that closes all at once does not take all the frames.
    closed = np.convolve(np.pad(closed, EVEN_OVER, mode="edge"), np.ones(2 * EVEN_OVER + 1), "valid")
    closed = (closed - closed[0]) / (closed[-1] - closed[0])
    passed = 0.5 * time / end + 0.5 * closed
    return tuple(np.interp(np.linspace(0.0, 1.0, frames), passed, time).round(1).tolist())


def _frame(front: Front, time_s: float) -> bytes:
    """Return one moment as PNG: the sections side by side."""
    parts = [drawn(section.states(time_s)) for section in front.sections]
    gap = np.zeros((parts[0].shape[0], int(pixels(GAP_MM))), dtype=np.uint8)
    picture = np.concatenate([piece for part in parts for piece in (part, gap)][:-1], axis=1)
    column = np.arange(picture.shape[1]) % AXIS_PX
    picture[0, (column < AXIS_PX // 2) | (column == 3 * AXIS_PX // 4)] = 1
    return indexed_png(picture)


def _words(fronts: Mapping[str, Front], time_s: float, several: bool) -> str:
    """Return in words what is open at a time, for each wheel."""
    lines = []
    for name, front in fronts.items():
        cut = front.cut_off_cm3(time_s)
        island = f", {number(cut, 2)} cm³ of that cut off from the feeder" if cut >= 0.05 else ""
        who = f"{name}: " if several else ""
        lines.append(f"{who}{percent(front.open_share(time_s))} of the metal still passes feed metal{island}")
    return "; ".join(lines)

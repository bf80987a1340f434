"""What state the metal is in at a time, and how each state looks: its colour, its pattern and its words."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castq.report.colours import INK, PAPER, SEQUENCE, rgb
from castq.report.section import PIXEL_MM, HalfSection, sample, sample_nearest
from castq.screening.fields import WheelFields

Array = NDArray[np.float64]
Codes = NDArray[np.uint8]

# Fields that a picture of freezing needs.
TIMES: tuple[str, ...] = ("coherency_time_s", "cutoff_time_s", "solid_time_s")
# Patterns repeat after this many pixels.
REPEAT_PX = 8
SWATCH_PX = (28, 16)


@dataclass(frozen=True, slots=True)
class State:
    """How a state of the metal looks: word for a legend, colour, colour of its pattern and the pattern itself."""

    words: str
    colour: str
    line: str
    pattern: tuple[str, ...]


# Straw to indigo as the metal closes; a pool that is cut off while still open stands out from the sequence.
STATES: tuple[State, ...] = (
    State("liquid, grains still float", SEQUENCE[0], SEQUENCE[0], ("........",) * 8),
    State("mushy, past coherency: feeds through the dendrites", SEQUENCE[4], "#3f7f6c",
          ("........", ".##.....", ".##.....", "........", "........", ".....##.", ".....##.", "........")),
    State("past feeding cut-off, not yet solid", SEQUENCE[9], "#e3f3f5",
          ("#.......", ".#......", "..#.....", "...#....", "....#...", ".....#..", "......#.", ".......#")),
    State("solid", SEQUENCE[16], SEQUENCE[16], ("........",) * 8),
    State("island: still open, but cut off from the feeder", "#f2c4a0", "#a3201d",
          ("##......", ".##....#", "..##..##", "...####.", "...####.", "..##..##", ".##....#", "##......")),
)  # fmt: skip
LIQUID, MUSHY, CLOSED, SOLID, ISLAND = range(5)
# Places in the palette: paper, ink, then colour and line of each state.
_PALETTE: tuple[str, ...] = (PAPER, INK, *(colour for state in STATES for colour in (state.colour, state.line)))
_MASKS = np.array([[[letter == "#" for letter in row] for row in state.pattern] for state in STATES])


@dataclass(frozen=True, slots=True, eq=False)
class TimedSection:
    """A section with the times at which its pixels close: arrays (r, z), NaN outside the outline [s].

    Attributes
    ----------
    cut : HalfSection
        The section.
    coherency_s, cutoff_s, solid_s : array
        When each pixel reaches coherency, feeding cut-off and solid [s].
    island_s : array
        When the pool of each pixel is cut off from the feeder; infinite where it never is [s].
    """

    cut: HalfSection
    coherency_s: Array
    cutoff_s: Array
    solid_s: Array
    island_s: Array

    def states(self, time_s: float) -> Codes:
        """Return the state of each pixel at a time [s]: 0 outside, else one more than its place in `STATES`."""
        state = np.full(self.solid_s.shape, LIQUID, dtype=np.uint8)
        state[time_s >= self.coherency_s] = MUSHY
        state[(time_s < self.cutoff_s) & (time_s >= self.island_s)] = ISLAND
        state[time_s >= self.cutoff_s] = CLOSED
        state[time_s >= self.solid_s] = SOLID
        return np.where(self.cut.metal, state + 1, 0).astype(np.uint8)


def timed_section(wheel: WheelFields, cut: HalfSection, island_s: Array | None = None) -> TimedSection:
    """Return the times in a section.

    Parameters
    ----------
    wheel : WheelFields
        The wheel with the fields of `TIMES`.
    cut : HalfSection
        Where.
    island_s : array (nx, ny, nz), optional
        When the pool of each cell is cut off; infinite where it never is [s].

    Returns
    -------
    TimedSection
        Times on the pixels.
    """
    coherency, cutoff, solid = (sample(wheel, cut, name) for name in TIMES)
    pools = np.full(solid.shape, np.inf) if island_s is None else sample_nearest(wheel, cut, island_s)
    return TimedSection(cut, coherency, cutoff, solid, pools)


def drawn(states: Codes) -> Codes:
    """Return palette places of a picture of states, the first row at the bottom: colours, patterns and the outline."""
    from scipy.ndimage import binary_erosion

    rows, columns = np.indices(states.shape) % REPEAT_PX
    inside = states > 0
    state = np.where(inside, states - 1, 0)
    places = np.where(inside, 2 + 2 * state + _MASKS[state, rows, columns], 0)
    places[inside & ~binary_erosion(inside)] = 1
    return places.astype(np.uint8)


def colours_of(places: Codes) -> NDArray[np.uint8]:
    """Return red, green, blue [0 to 255] of palette places, on one more axis."""
    return np.array([rgb(colour) for colour in _PALETTE], dtype=np.uint8)[places]


def indexed_png(places: Codes) -> bytes:
    """Return palette places, the first row at the bottom, as a PNG of four bits a pixel."""
    height, width = places.shape
    upright = np.zeros((height, width + width % 2), dtype=np.uint8)
    upright[:, :width] = places[::-1]
    packed = (upright[:, ::2] << 4) | upright[:, 1::2]
    lines = np.zeros((height, packed.shape[1] + 1), dtype=np.uint8)
    lines[:, 1:] = packed
    head = struct.pack(">IIBBBBB", width, height, 4, 3, 0, 0, 0)
    palette = bytes(part for colour in _PALETTE for part in rgb(colour))
    chunks = ((b"IHDR", head), (b"PLTE", palette), (b"IDAT", zlib.compress(lines.tobytes(), 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(name, data) for name, data in chunks)


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def legend(states: Iterable[int] = range(len(STATES))) -> list[tuple[str, bytes]]:
    """Return words and a swatch as PNG for each state."""
    width, height = SWATCH_PX
    plain = {state: np.pad(np.full((height + 2, width + 2), state + 1, dtype=np.uint8), 1) for state in states}
    return [(STATES[state].words, indexed_png(drawn(swatch)[2:-2, 2:-2])) for state, swatch in plain.items()]


def pixels(length_mm: float) -> float:
    """Return how many pixels of a section a length takes [-]."""
    return length_mm / PIXEL_MM

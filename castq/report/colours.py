"""The colours of every picture, in one place: one sequential map, one look for each verdict, one tint for each role."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from matplotlib.colors import ListedColormap

INK = "#1c2b33"
QUIET = "#5b6b73"
LINE = "#c9d2d6"
PAPER = "#ffffff"
ACCENT = "#2a6ea2"
SECOND = "#a85b00"
MISSING = "#d9dee0"

# Straw to indigo at even steps in CIELAB. Lightness falls from 95 to 33, never lower, so that shading and thin walls
# stay readable on the dark end; the order survives grey printing and the common kinds of colour blindness.
SEQUENCE: tuple[str, ...] = (
    "#faf1c7", "#e3e7b5", "#c9dea9", "#afd4a2", "#95cba1", "#7dc1a1", "#66b7a2", "#4fada5", "#3aa3a7",
    "#2899aa", "#1b90ab", "#1a86ab", "#237aa8", "#2a6ea2", "#31629c", "#365596", "#39488e",
)  # fmt: skip

# One tint a role, in the order of `castq.screening.types.ROLES`; neighbours on the wheel differ in lightness.
ROLE_TINTS: tuple[str, ...] = (
    "#7a8fa6", "#d8c27a", "#b3cde0", "#e7e3d4", "#8fb8a8", "#c7a3b8", "#6f9fc0", "#dfa98c",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class VerdictLook:
    """How a verdict is shown: always word and sign, colour only on top.

    Attributes
    ----------
    word : str
        Word for headings.
    sign : str
        One character for plain text.
    symbol : str
        Id of the drawn sign in the report.
    marker : str
        Marker for charts.
    colour, tint : str
        Strong colour for sign and text, light tint for areas.
    rank : int
        Severity, larger is worse.
    """

    word: str
    sign: str
    symbol: str
    marker: str
    colour: str
    tint: str
    rank: int


VERDICTS: dict[str, VerdictLook] = {
    "pass": VerdictLook("Pass", "+", "sign-pass", "o", "#1f6f9c", "#cfe3ef", 1),
    "at risk": VerdictLook("At risk", "!", "sign-risk", "^", "#a85b00", "#f6ddb2", 3),
    "fails": VerdictLook("Fails", "x", "sign-fail", "X", "#a3201d", "#edb1a4", 4),
    "not decided": VerdictLook("Not decided", "?", "sign-open", "D", "#5b6b73", "#d9dee0", 2),
    "no limit": VerdictLook("No limit given", "-", "sign-none", "s", "#5b6b73", "#eceff0", 0),
    "A better": VerdictLook("A is better", "A", "sign-a", "o", ACCENT, "#cfe3ef", 1),
    "B better": VerdictLook("B is better", "B", "sign-b", "D", SECOND, "#f6ddb2", 1),
    "no difference": VerdictLook("No difference shown", "=", "sign-none", "s", "#5b6b73", "#eceff0", 1),
    "mixed": VerdictLook("Mixed", "~", "sign-open", "D", "#5b6b73", "#d9dee0", 1),
}


def rgb(colour: str) -> tuple[int, int, int]:
    """Return a `#rrggbb` colour as three whole numbers 0 to 255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def ramp(steps: int, reverse: bool = False) -> NDArray[np.uint8]:
    """Return the sequential map as an array (steps, 3) of bytes.

    Parameters
    ----------
    steps : int
        Number of colours [-].
    reverse : bool
        True to run from dark to light.

    Returns
    -------
    array (steps, 3)
        Red, green, blue [0 to 255].
    """
    anchors = np.array([rgb(colour) for colour in SEQUENCE], dtype=float)
    place = np.linspace(0.0, 1.0, len(SEQUENCE))
    at = np.linspace(0.0, 1.0, steps)
    colours = np.column_stack([np.interp(at, place, anchors[:, i]) for i in range(3)])
    return np.rint(colours[::-1] if reverse else colours).astype(np.uint8)


def paint(share: ArrayLike, reverse: bool = False) -> NDArray[np.float64]:
    """Return the map's colours for shares 0 to 1 of the range, red, green, blue from 0 to 1 on the last axis."""
    table = ramp(256, reverse).astype(float) / 255.0
    index = np.clip(np.rint(np.nan_to_num(np.asarray(share, dtype=float)) * 255.0), 0, 255).astype(int)
    return table[index]


def colour_map(reverse: bool = False) -> ListedColormap:
    """Return the map for matplotlib."""
    from matplotlib.colors import ListedColormap

    return ListedColormap(ramp(256, reverse).astype(float) / 255.0, name="castq")
